"""Takes many entries at once, all or none: lines of the book (JSON Lines), or a list of trees (CSV).

It gives back what is new, in written form; writing it is somebody else's business. Lines may stand in any
order and may speak of what other lines bring or void.
"""

import csv
import json
from collections.abc import Collection, Iterable, Mapping
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

from monitor.clock import rfc3339
from monitor.errors import BookError, Problem
from monitor.nearest import nearest
from monitor.trees.book import Book
from monitor.trees.entries import entry_id, finished, future_problems, normalised
from monitor.trees.rules import Against, problems_against

if TYPE_CHECKING:
    from monitor.settings import House, Sensor

TREE_COLUMNS = ("tree", "name", "species", "sensor", "to", "pot_litres", "pot_sensor", "evergreen", "note")
WORK_COLUMNS = ("work", "at")
CSV_HELP = (
    "A list of trees is a CSV file whose first line names its columns: "
    "tree,name,species,sensor,pot_litres,evergreen and, where you want, to, pot_sensor, note, by, work, at. "
    "Only a name (or a tree's id) must be there; work needs at, the day it was done. "
    "Columns are parted by commas, semicolons or tabs."
)
"""What `book import --help` says of the list."""

Numbered = tuple[int, dict[str, Any]]


def check_import(
    text: str | Iterable[str],
    book: Book,
    sensors: "Mapping[str, Sensor]",
    houses: "Mapping[str, House]",
    now_s: float,
    *,
    people: Collection[str] | None = None,
    follow_ups: Collection[str] | None = None,
    zone: tzinfo | None = None,
    file: str = "",
) -> tuple[dict[str, Any], ...]:
    """The entries that are new to the book, in order; none when everything is known already.

    `text` is a whole file or its lines. With a `zone`, times without an offset are that zone's, and a day
    alone is its beginning. Raises BookError with every bad line's number; then nothing is to be taken.
    """
    lines = text.splitlines() if isinstance(text, str) else [line.rstrip("\r\n") for line in text]
    lines = [lines[0].lstrip("\ufeff"), *lines[1:]] if lines else []
    first = next((line for line in lines if line.strip()), "")
    is_csv = bool(first) and not first.lstrip().startswith(("{", "["))
    rows, problems = _csv_rows(lines, book, now_s, zone) if is_csv else _json_rows(lines)
    entries, wrong = _entries(rows, now_s, zone)
    problems += wrong
    new = _new(entries, book)
    against = Against(
        book.with_entries([entry for _line, entry in new]), sensors, houses, people, follow_ups, True
    )
    problems += _against(new, against)
    if problems:
        raise BookError([_placed(problem, file) for problem in sorted(problems, key=lambda each: each.line)])
    return tuple(entry for _line, entry in new)


def _entries(
    rows: Iterable[Numbered], now_s: float, zone: tzinfo | None
) -> tuple[list[Numbered], list[Problem]]:
    """Each row by itself, with its id."""
    entries: list[Numbered] = []
    problems: list[Problem] = []
    for line, values in rows:
        entry, found = normalised(values, zone)
        if "at" not in entry and not found:
            found = [Problem("", "is missing.", "at", hint="An import says when each thing was done.")]
        found = found or future_problems(entry, now_s)
        problems += [_on_line(problem, line) for problem in found]
        if not found:
            entry.setdefault("entered_at", rfc3339(now_s))
            entries.append((line, finished(entry)))
    return entries, problems


def _new(entries: Iterable[Numbered], book: Book) -> list[Numbered]:
    """The first of each id that the book does not have."""
    new: dict[str, Numbered] = {}
    for line, entry in entries:
        if entry["id"] not in book.by_id:
            new.setdefault(entry["id"], (line, entry))
    return list(new.values())


def _against(new: Iterable[Numbered], against: Against) -> list[Problem]:
    return [
        _on_line(problem, line)
        for line, entry in new
        if entry["id"] not in against.book.voided
        for problem in problems_against(entry, against)
    ]


# ---- JSON Lines ----------------------------------------------------------------------------------------


def _json_rows(lines: Iterable[str]) -> tuple[list[Numbered], list[Problem]]:
    rows: list[Numbered] = []
    problems: list[Problem] = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            values = json.loads(line)
        except (ValueError, RecursionError) as error:
            said = error.msg if isinstance(error, json.JSONDecodeError) else "nested too deep"
            problems.append(Problem("", f"is not JSON ({said}).", line=number, hint="One entry a line."))
            continue
        if isinstance(values, dict):
            rows.append((number, values))
        else:
            problems.append(
                Problem("", "is not an entry.", line=number, hint='Write {"at": …, "kind": …, …}.')
            )
    return rows, problems


# ---- lists of trees ------------------------------------------------------------------------------------


def _csv_rows(
    lines: list[str], book: Book, now_s: float, zone: tzinfo | None
) -> tuple[list[Numbered], list[Problem]]:
    header = next(line for line in lines if line.strip())
    delimiter = max(",;\t", key=header.count)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    columns: list[str] | None = None
    rows: list[Numbered] = []
    problems: list[Problem] = []
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = [cell.strip().lower() for cell in cells]
                problems = _header_problems(columns, reader.line_num)
                if problems:
                    return [], problems
            elif len(cells) > len(columns):
                said = f"has {len(cells)} cells under {len(columns)} columns."
                problems.append(Problem("", said, line=reader.line_num, hint="Quote a cell with a comma."))
            else:
                row = {name: cell.strip() for name, cell in zip(columns, cells, strict=False) if cell.strip()}
                rows += [(reader.line_num, each) for each in _row_entries(row, book, now_s, zone)]
    except csv.Error as error:
        problems.append(Problem("", f"is not CSV ({error}).", line=reader.line_num))
    return rows, problems


def _header_problems(columns: list[str], line: int) -> list[Problem]:
    known = (*TREE_COLUMNS, *WORK_COLUMNS, "by")
    problems = [
        Problem("", "is no column of a list of trees.", column, line, nearest(column, known))
        for column in columns
        if column not in known
    ]
    if not problems and "name" not in columns and "tree" not in columns:
        problems.append(Problem("", "has no column name.", line=line, hint=CSV_HELP))
    problems += [
        Problem("", "stands twice in the header.", column, line)
        for column in sorted({each for each in columns if columns.count(each) > 1})
    ]
    return problems


def _row_entries(
    row: Mapping[str, str], book: Book, now_s: float, zone: tzinfo | None
) -> list[dict[str, Any]]:
    """A row's tree, unless its latest entry says the same already, and its work."""
    about = {key: row[key] for key in (*TREE_COLUMNS, "by", "at") if key in row}
    tree = {"kind": "tree", "at": rfc3339(now_s), **about}
    found: list[dict[str, Any]] = []
    entry, problems = normalised(tree, zone)
    if problems or not _says_nothing_new(entry, book):
        found.append(tree)
    if "work" in row and "tree" in entry:
        work = {"kind": "work", "tree": entry["tree"], "work": row["work"]}
        found.append({**work, **{key: row[key] for key in ("at", "by") if key in row}})
    return found


def _says_nothing_new(entry: Mapping[str, Any], book: Book) -> bool:
    latest = [values for values in book.mentions(entry["tree"]) if values["kind"] == "tree"][-1:]
    return any(_content(values) == _content(entry) for values in latest)


def _content(values: Mapping[str, Any]) -> str:
    return entry_id({key: value for key, value in values.items() if key != "at"})


# ---- places of problems --------------------------------------------------------------------------------


def _on_line(problem: Problem, line: int) -> Problem:
    return Problem(problem.file, problem.message, problem.key, line, problem.hint)


def _placed(problem: Problem, file: str) -> Problem:
    return Problem(file, problem.message, problem.key, problem.line, problem.hint)
