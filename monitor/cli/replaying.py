"""`replay`: the same engine over a recording; its files appear whole or not at all."""

import contextlib
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from monitor.cli import show
from monitor.cli.book_text import read_book
from monitor.cli.options import Config, example
from monitor.cli.place import Place
from monitor.errors import StoreError, UsageError
from monitor.model import Report
from monitor.store.book_file import NAME as BOOK
from monitor.store.trouble import store_error

Recording = Annotated[
    Path, typer.Argument(metavar="RECORDING", help="A recording, gzipped or not, or a folder of day files.")
]
BookPath = Annotated[
    Path | None,
    typer.Option("--book", metavar="FILE", help="The book; left out: the one in the state directory."),
]
OutDir = Annotated[Path, typer.Option("--out", metavar="DIR", help="The folder to write to.")]
Readings = Annotated[bool, typer.Option("--readings", help="Write readings.jsonl, too.")]
Pictures = Annotated[bool, typer.Option("--pictures", help="Draw the pictures of the reports, too.")]

HELP = """Run the same engine over a recording, as fast as it goes.

It writes alarms.jsonl, notices.jsonl, forecasts.jsonl, wraps.jsonl, stages.jsonl and reports/DATE.txt and
.html, as the daemon would have made them. Nobody is called.
"""


def add_to(app: typer.Typer) -> None:
    """Hang the command into the tree."""
    line = "replay state/recording --book state/book.jsonl --out last-winter"
    app.command(
        "replay", help=HELP, epilog=example(line, "replay night.jsonl.gz --book book.jsonl --out night")
    )(replay)


def replay(
    recording: Recording,
    out: OutDir,
    book: BookPath = None,
    readings: Readings = False,
    pictures: Pictures = False,
    config: Config = None,
) -> int:
    """Run the same engine over a recording."""
    from monitor.replay import replay as run
    from monitor.store.recording import read_recording
    from monitor.store.sink import JsonLinesSink

    place = Place(config)
    if not recording.exists():
        raise UsageError(f"{recording}: there is no such recording.")
    entries = _entries(place, book)
    with (
        _whole(out) as half,
        _progress(recording) as progress,
        JsonLinesSink(half, readings, _page_of(pictures)) as sink,
    ):
        engine = run(
            place.settings, place.plans, read_recording(recording, show.aside), entries, sink,
            progress=progress,
        )  # fmt: skip
    for said in engine.book.unreadable:
        show.aside(said)
    show.say(_summary(out))
    return 0


def _page_of(pictures: bool) -> Callable[[Report], str]:
    """What makes the page of a report."""
    from monitor.report.pictures import with_images

    return lambda report: with_images(report.html, report.pictures) if pictures else report.html


def _entries(place: Place, book: Path | None) -> list[Mapping[str, Any]]:
    if book is not None:
        return read_book(book, show.aside)
    own = place.state / BOOK
    if own.exists():
        return read_book(own, show.aside)
    show.aside("There is no book, so no tree is guarded; name one with --book.")
    return []


@contextlib.contextmanager
def _whole(out: Path) -> Iterator[Path]:
    """A folder to write into; what it holds goes to `out` only when all went well."""
    is_new = not out.exists()
    try:
        out.mkdir(parents=True, exist_ok=True)
        half = Path(tempfile.mkdtemp(prefix=".half-", dir=out))
    except FileExistsError:
        raise StoreError(f"{out}: it is not a directory.", "Name another one with --out.") from None
    except OSError as error:
        raise store_error(out, error) from error
    try:
        yield half
        _take_over(half, out)
    except BaseException:
        shutil.rmtree(out if is_new else half, ignore_errors=True)
        raise
    half.rmdir()


def _take_over(half: Path, out: Path) -> None:
    """The new files take the place of an earlier replay's."""
    try:
        for name in ("readings.jsonl",):
            (out / name).unlink(missing_ok=True)
        shutil.rmtree(out / "reports", ignore_errors=True)
        for path in half.iterdir():
            path.replace(out / path.name)
    except OSError as error:
        raise store_error(out, error) from error


@contextlib.contextmanager
def _progress(recording: Path) -> Iterator[Callable[[float], None]]:
    """A bar on a terminal; nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda at_s: None
        return
    from monitor.cli.progress import bar

    with bar(recording) as move:
        yield move


def _summary(out: Path) -> str:
    def lines(name: str) -> int:
        with (out / name).open("rb") as file:
            return sum(1 for _ in file)

    reports = len(list((out / "reports").glob("*.txt")))
    return (
        f"Written to {out}: changes of alarms {lines('alarms.jsonl')}, notices {lines('notices.jsonl')}, "
        f"reports {reports}."
    )
