"""`book add`, `list`, `import`, `export`, `void`: what people did; options come from the table of kinds."""

import inspect
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from monitor.cli import show
from monitor.cli.look_words import about, date_time
from monitor.cli.options import By, Config, Json, Out, example, new_group
from monitor.cli.place import Place
from monitor.errors import AftercareError, UsageError
from monitor.store.lines import dumps
from monitor.trees.imports import CSV_HELP
from monitor.trees.kinds import ENTRY_KINDS, EntryField, FieldType, entry_fields

_METAVARS: Mapping[FieldType, str] = {
    FieldType.TEXT: "TEXT",
    FieldType.TREES: "ID,ID",
    FieldType.CHOICE: "WORD",
    FieldType.NUMBER: "NUMBER",
    FieldType.INSTANT: "TIME",
    FieldType.YES_NO: "YES|NO",
}
TIME_HELP = 'Times: "2027-01-09 10:00" is the site\'s local time; 2027-01-09T10:00:00Z says it for all.'


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the tree."""
    book = new_group(
        "The book: what was done and seen. A file that is only ever added to.",
        'book add tree --name "Larch 3" --species "Larix decidua" --sensor bench-a',
        "book add work --tree larch-3 --work heavy-bend",
    )
    book.callback()(lambda: None)
    add = new_group("Write an entry. Each kind has its own options.", ENTRY_KINDS["work"].example)
    add.callback()(lambda: None)
    for kind in ENTRY_KINDS.values():
        if kind.name != "void":
            about_it = f"{kind.help}\n\n{TIME_HELP}"
            add.command(kind.name, help=about_it, short_help=kind.help, epilog=example(kind.example))(
                _adder(kind.name)
            )
    book.add_typer(add, name="add")
    book.command("list", epilog=example("book list", "book list --tree larch-3"))(list_entries)
    book.command(
        "import", help=IMPORT_HELP, epilog=example("book import trees.csv", "book import - < more.jsonl")
    )(import_file)
    book.command("export", epilog=example("book export --out book.jsonl"))(export)
    book.command("void", epilog=example(ENTRY_KINDS["void"].example))(void)
    app.add_typer(book, name="book")


IMPORT_HELP = f"""Take many entries at once: all of them or, with every bad line's number, none.

The file holds entries as `book export` writes them, one a line, or a list of trees. Importing twice changes
nothing. {CSV_HELP}
"""


# ---- add -----------------------------------------------------------------------------------------------


def _adder(kind: str) -> Callable[..., int]:
    """The command that adds an entry of that kind; its options are the kind's keys."""

    def add(**given: Any) -> int:
        config = given.pop("config")
        values = {key: value for key, value in given.items() if value is not None}
        return _enter(Place(config), {"kind": kind, **values})

    parameters = [_parameter(field.name, _annotation(field)) for field in entry_fields(kind)]
    parameters.append(_parameter("config", Config))
    add.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    add.__annotations__ = {each.name: each.annotation for each in parameters}
    return add


def _parameter(name: str, annotation: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=annotation)


def _annotation(field: EntryField) -> Any:
    said = field.help
    if field.choices:
        said += f": {', '.join(field.choices)}"
    if field.low is not None and field.high is not None:
        said += f" ({field.low:g} to {field.high:g})"
    if field.required:
        said += " (must be given)"
    metavar = _METAVARS.get(field.type, "ID")
    return Annotated[str | None, typer.Option(field.option, metavar=metavar, help=said)]


def _enter(place: Place, values: Mapping[str, Any]) -> int:
    taken = place.enter([values])
    for entry in taken["entries"]:
        show.say(f"Written: {entry['kind']}: {about(entry)}")
        show.say(f"Its id is {entry['id']}; `aftercare book void {entry['id']} --reason TEXT` takes it back.")
    if not taken["entries"]:
        show.say("The book has this very entry already; nothing was written.")
    for remark in taken["remarks"]:
        show.say(remark)
    return 0


EntryId = Annotated[str, typer.Argument(metavar="ID", help="The entry, by the id that `book list` shows.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why it was a mistake.")]


def void(entry: EntryId, reason: Reason, by: By = "", config: Config = None) -> int:
    """Take an entry back: it counts as never written, and stays readable."""
    values = {"kind": "void", "entry": entry, "reason": reason}
    return _enter(Place(config), values | ({"by": by} if by else {}))


# ---- many ----------------------------------------------------------------------------------------------

File = Annotated[str, typer.Argument(metavar="FILE|-", help="The file; - reads from standard input.")]


def import_file(file: File, by: By = "", config: Config = None) -> int:
    """Take many entries at once."""
    place = Place(config)
    text, name = _text_of(file)
    taken = place.enter(text, by, name)
    count = len(taken["entries"])
    show.say(f"{count} {'entry' if count == 1 else 'entries'} written." if count else "Nothing in it is new.")
    for remark in taken["remarks"]:
        show.say(remark)
    return 0


def _text_of(file: str) -> tuple[str, str]:
    try:
        if file == "-":
            return sys.stdin.buffer.read().decode("utf-8-sig"), "standard input"
        return Path(file).read_bytes().decode("utf-8-sig"), file
    except UnicodeDecodeError:
        raise UsageError(f"{file}: it is not UTF-8 text.", "Save it as UTF-8 and import it again.") from None
    except OSError as error:
        raise UsageError(f"{file}: it cannot be read ({error.strerror}).") from None


TreeOption = Annotated[str, typer.Option("--tree", metavar="ID", help="Only what names this tree.")]


def list_entries(tree: TreeOption = "", config: Config = None, json: Json = False) -> int:
    """Every entry with its id, oldest first."""
    place = Place(config)
    book = place.folded(place.entries())
    if tree and tree not in book.trees:
        raise UsageError(f"There is no tree {tree!r} in the book.", f"Known are: {', '.join(book.trees)}.")
    found = [e for e in book.entries if not tree or e.get("tree") == tree or tree in (e.get("trees") or ())]
    found.sort(key=lambda entry: str(entry["at"]))
    if json:
        show.as_json([{**entry, "voided": entry["id"] in book.voided} for entry in found])
        return 0
    zone = place.settings.site.zone
    rows = [
        [
            entry["id"],
            date_time(entry["at"], zone),
            entry["kind"],
            about(entry) + (" (taken back)" if entry["id"] in book.voided else ""),
        ]
        for entry in found
    ]
    if rows:
        show.table(["id", "when", "kind", "what"], rows)
    else:
        show.say("Nothing is written down yet.")
    for said in book.unreadable:
        show.aside(said)
    return 0


def export(out: Out = None, config: Config = None) -> int:
    """The whole book as it stands, one JSON object a line: `book import` takes it back."""
    place = Place(config)
    text = "".join(dumps(entry) + "\n" for entry in place.entries())
    if out is None:
        sys.stdout.write(text)
        return 0
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise AftercareError(f"{out}: the book cannot be written there ({error.strerror}).") from error
    show.say(f"{text.count(chr(10))} entries written to {out}")
    return 0
