"""`export` and `backup`: what the guard keeps, for other programs and for a worse day."""

import sys
from collections.abc import Iterator, Mapping
from datetime import datetime, tzinfo
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlencode

import typer

from monitor import clock
from monitor.cli import show
from monitor.cli.export_files import Format, write
from monitor.cli.options import Config, Out, example
from monitor.cli.place import Place
from monitor.errors import AftercareError, StoreError, UsageError


class What(StrEnum):
    """What can be exported."""

    READINGS = "readings"
    ALARMS = "alarms"
    NOTICES = "notices"
    FORECASTS = "forecasts"
    WRAPS = "wraps"
    STAGES = "stages"
    RECORDING = "recording"
    FOLLOW_UPS = "follow-ups"


WhatArgument = Annotated[What, typer.Argument(metavar="WHAT", help=f"One of: {', '.join(What)}.")]
FormatOption = Annotated[
    Format, typer.Option("--format", metavar="FORMAT", help=f"One of: {', '.join(Format)}.")
]
From = Annotated[str, typer.Option("--from", metavar="TIME", help="Not before this; 2027-01-16 is a day.")]
To = Annotated[str, typer.Option("--to", metavar="TIME", help="Before this; left out: until now.")]
File = Annotated[Path, typer.Argument(metavar="FILE", help="The file to write; .tar.gz packs it.")]

EXPORT_HELP = """What the guard keeps, for other programs.

Each stream comes as lines of JSON, as a table of comma-separated values, or as a Parquet file (with the
extra package `parquet`). `recording` comes as it was recorded, for `aftercare replay`; `follow-ups` is a
calendar file (iCalendar) of what to do on which tree.
"""
BEGINNING_S = 0.0
END_S = 4e9


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the tree."""
    lines = (
        "export readings --format csv --from 2027-01-16 --out readings.csv",
        "export follow-ups --out trees.ics",
    )
    app.command("export", help=EXPORT_HELP, epilog=example(*lines))(export)
    app.command("backup", epilog=example("backup aftercare-2027-01-17.tar.gz"))(backup)


def export(
    what: WhatArgument,
    format_: FormatOption = Format.JSONL,
    from_: From = "",
    to: To = "",
    out: Out = None,
    config: Config = None,
) -> int:
    """What the guard keeps, for other programs."""
    place = Place(config)
    zone = place.settings.site.zone
    from_s = instant(from_, zone, "--from") if from_ else BEGINNING_S
    to_s = instant(to, zone, "--to") if to else END_S
    if what is What.FOLLOW_UPS:
        from monitor.cli.follow_ups import calendar_of

        return _put(calendar_of(place), out)
    if what is What.RECORDING:
        if format_ is not Format.JSONL:
            raise UsageError("A recording is exported as it was recorded.", "Leave --format out.")
        rows = _recorded(place, from_s, to_s)
    else:
        rows = _kept(place, what, from_s, to_s)
    count = write(str(what), rows, format_, out)
    if out is not None:
        show.say(f"{count} lines written to {out}")
    return 0


def instant(text: str, zone: tzinfo, option: str) -> float:
    """A time as people give it: with an offset, or the site's local time; a day alone is its beginning."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{option} {text!r} is not a time.", "Write it like 2027-01-16 18:00.") from None
    return (found if found.tzinfo is not None else found.replace(tzinfo=zone)).timestamp()


def _kept(place: Place, what: What, from_s: float, to_s: float) -> Iterator[Mapping[str, Any]]:
    if place.daemon.runs():
        yield from place.daemon.lines(f"/api/export/{what}?{urlencode({'from_s': from_s, 'to_s': to_s})}")
        return
    from monitor.store.queries import Reader

    with Reader(place.state) as reader:
        yield from reader.export_lines(str(what), from_s, to_s, reader.label_offset_s())


def _recorded(place: Place, from_s: float, to_s: float) -> Iterator[Mapping[str, Any]]:
    from monitor.store.recording import recording_lines

    directory = place.state / "recording"
    if not directory.is_dir():
        raise StoreError(f"{directory}: nothing was recorded yet.", "Start `aftercare run` once.")
    yield from recording_lines(directory, from_s, to_s)


def _put(data: bytes, out: Path | None) -> int:
    if out is None:
        sys.stdout.buffer.write(data)
        return 0
    try:
        out.write_bytes(data)
    except OSError as error:
        raise AftercareError(f"{out}: it cannot be written ({error.strerror}).") from error
    show.say(f"Written: {out}")
    return 0


def backup(file: File, config: Config = None) -> int:
    """A consistent copy of database and book in one file, also while the daemon runs.

    Unpack it into an empty state directory to go on from there.
    """
    from monitor.store.backup import backup_state

    place = Place(config)
    if not any((place.state / name).exists() for name in ("book.jsonl", "aftercare.db")):
        raise StoreError(f"{place.state}: there is nothing to copy yet.", "Start `aftercare run` once.")
    backup_state(place.state, file)
    at = place.speech.day_time(clock.wall_s())
    show.say(f"Written: {file} ({at}, {file.stat().st_size / 1e6:.1f} MB)")
    return 0
