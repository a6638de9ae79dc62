"""`tree show`: what was done to a tree, what holds for it now, and what it went through, with a picture."""

import json as json_lines
from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from monitor import clock
from monitor.cli import show
from monitor.cli.export_files import Format, write
from monitor.cli.exports import From, To, instant
from monitor.cli.look_words import tree_text
from monitor.cli.options import Config, Json
from monitor.cli.place import Place
from monitor.errors import AftercareError, StoreError, UsageError
from monitor.notices.words import Speech
from monitor.store.lines import rounded
from monitor.trees.book import Book
from monitor.trees.entries import tree_id_from_name
from monitor.trees.tree import Tree

if TYPE_CHECKING:
    from monitor.cli.record_words import Death
    from monitor.tree_record import Present
    from monitor.trees.exposure import Exposure, Spell

AROUND_H = 36
"""The second picture, and the table's first look, show so many hours before and after the worst ones."""


class TableFormat(StrEnum):
    """How the hours are written."""

    CSV = "csv"
    PARQUET = "parquet"


TreeId = Annotated[str, typer.Argument(metavar="TREE", help="The tree, by its id or its name.")]
OutDir = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Write the record there: TREE.txt, TREE.png and its hours."),
]
Hours = Annotated[
    TableFormat, typer.Option("--format", metavar="FORMAT", help="Of the hours in DIR: csv or parquet.")
]


def tree_show(
    tree: TreeId,
    from_: From = "",
    to: To = "",
    out: OutDir = None,
    format_: Hours = TableFormat.CSV,
    config: Config = None,
    json: Json = False,
) -> int:
    """A tree's record: where it stands, what was done to it, what holds for it now, what it went through.

    With a finding of dieback or death it begins with that tree's worst hours before it. --out writes it
    into a folder, with a picture and a table of every hour; --json prints the entries about it.
    """
    place = Place(config)
    book = place.folded(place.entries())
    known = _tree_of(book, tree)
    if json:
        show.as_json(list(book.mentions(known.id)))
        return 0
    zone, now_s = place.settings.site.zone, clock.wall_s()
    from_s = instant(from_, zone, "--from") if from_ else 0.0
    to_s = instant(to, zone, "--to") if to else now_s
    kept = _kept(place, known, from_s, min(to_s, now_s))
    if kept is None:
        text = tree_text(known, book, place.plans, place.speech, now_s)
        return _written(out, known, text, None, format_) if out is not None else _said(text)
    from monitor.cli.record_words import record_lines

    text = tree_text(known, book, place.plans, place.speech, now_s, kept.now.warmth, kept.now.raised)
    text += "\n" + "\n".join(record_lines(kept.record, kept.died, kept.speech))
    return _written(out, known, text, kept, format_) if out is not None else _said(text)


class Kept(NamedTuple):
    """What the store gives of a tree, and how it is spoken of."""

    record: "Exposure"
    died: "Sequence[Death]"
    now: "Present"
    speech: Speech


def _said(text: str) -> int:
    show.say(text)
    return 0


def _tree_of(book: Book, name: str) -> Tree:
    known = book.trees.get(name) or book.trees.get(tree_id_from_name(name))
    if known is None:
        raise UsageError(
            f"There is no tree {name!r} in the book.", "`aftercare book list` shows what there is."
        )
    return known


def _kept(place: Place, tree: Tree, from_s: float, to_s: float) -> Kept | None:
    """The record out of the store; None where nothing was kept yet."""
    from monitor.cli.record_words import deaths
    from monitor.store.queries import Reader
    from monitor.tree_record import present, tree_record

    site = place.settings.site
    try:
        with Reader(place.state) as reader:
            offset_s = reader.label_offset_s()
            begun_s, until_s = max(0.0, from_s - offset_s), to_s - offset_s
            record = tree_record(reader, tree, place.plans, site.zone, begun_s, until_s, offset_s)
            now = present(reader, tree, site.zone, clock.wall_s() - offset_s, offset_s)
            return Kept(record, deaths(tree, record), now, Speech(site.zone, site.show, offset_s))
    except StoreError as error:
        show.aside(f"What it went through is not known. {error}")
        return None


# ---- files -----------------------------------------------------------------------------------------------


def _written(out: Path, tree: Tree, text: str, kept: Kept | None, format_: TableFormat) -> int:
    """Everything into a folder; status 1 where the picture could not be drawn."""
    from monitor.trees.exposure import table

    pictures, why = _pictures(tree, kept) if kept is not None and kept.record.hours else ({}, "")
    try:
        out.mkdir(parents=True, exist_ok=True)
        (out / f"{tree.id}.txt").write_text(text + "\n", encoding="utf-8")
        for name, png in pictures.items():
            (out / name).write_bytes(png)
    except OSError as error:
        raise AftercareError(f"{out}: the record cannot be written there ({error.strerror}).") from error
    names = [f"{tree.id}.txt", *pictures]
    if kept is not None:
        names.append(f"{tree.id}.{format_}")
        rows = map(rounded, table(kept.record, kept.speech.offset_s))
        write("exposure", rows, Format(str(format_)), out / names[-1])
    show.say(f"Written: {', '.join(str(out / name) for name in names)}")
    if why:
        show.aside(f"There is no picture: {why}.")
    return 1 if why else 0


def _pictures(tree: Tree, kept: Kept) -> tuple[dict[str, bytes], str]:
    """File name -> PNG of the whole record and, after a finding of death, of its worst hours; or why not."""
    from monitor.report.pictures import NotDrawn, draw
    from monitor.report.record_picture import record_picture

    died, record, speech = kept.died, kept.record, kept.speech
    worst = next((death.worst for death in died if death.worst is not None), None) or record.worst()
    marks = sorted(
        [(work.at_s, work.work.replace("-", " ")) for work in tree.works]
        + [(finding.at_s, finding.found.replace("-", " ")) for finding in tree.findings]
    )
    told = {f"{tree.id}.png": record_picture(record, speech, marks, worst)}
    if died and worst is not None:
        told[f"{tree.id}-worst.png"] = record_picture(_around(record, worst), speech, marks, worst)
    try:
        return dict(zip(told, draw(json_lines.dumps(list(told.values()))), strict=True)), ""
    except NotDrawn as reason:
        return {}, str(reason)


def _around(record: "Exposure", spell: "Spell") -> "Exposure":
    """The record from a day and a half before its worst hours to as long after them."""
    around_s = AROUND_H * 3600.0
    first_s, last_s = spell.from_s - around_s, spell.to_s + around_s
    return replace(record, hours=tuple(hour for hour in record.hours if first_s <= hour.at_s < last_s))
