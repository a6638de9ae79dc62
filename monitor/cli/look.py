"""Commands that only look: `check`, `status`, `report`, `plan show`, `tree show`."""

import os
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from monitor import clock
from monitor.cli import show
from monitor.cli.look_words import now_text
from monitor.cli.options import Config, Json, Out, example, new_group
from monitor.cli.place import Place
from monitor.cli.plan_show import plan_show
from monitor.cli.tree_show import tree_show
from monitor.errors import AftercareError, BookError, Problem, StoreError, UsageError
from monitor.safety import SAFETY_TEXT
from monitor.settings import Settings
from monitor.store.book_file import NAME as BOOK
from monitor.store.book_file import BookFile
from monitor.trees.book import Book
from monitor.trees.tree import Tree

if TYPE_CHECKING:
    from monitor.check import CheckResult

TREE_SHOW = ("tree show larch-3", "tree show larch-3 --from 2027-01-10 --out records --format parquet")


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the tree."""
    app.command("check", epilog=example("check", "check --config /etc/aftercare/monitor.toml --json"))(check)
    app.command("status", epilog=example("status", "status --json"))(status)
    app.command("report", epilog=example("report", "report --date 2027-01-17 --out reports"))(report)
    plans = new_group(
        "What each work asks for: stages and limits, with their sources.", "plan show heavy-bend"
    )
    plans.command("show", epilog=example("plan show", "plan show heavy-bend"))(plan_show)
    plans.callback()(lambda: None)
    app.add_typer(plans, name="plan")
    trees = new_group("A tree's record, and labels for the pots.", "tree show larch-3")
    trees.command("show", epilog=example(*TREE_SHOW))(tree_show)
    trees.command("labels", epilog=example("tree labels --out labels.html"))(tree_labels)
    trees.callback()(lambda: None)
    app.add_typer(trees, name="tree")


# ---- check ---------------------------------------------------------------------------------------------


def check(config: Config = None, json: Json = False) -> int:
    """Look over the whole configuration: every problem and every weakness, all at once.

    It reads files and connects to nothing. Status 2 when something must be mended.
    """
    found = _checked(config)
    if json:
        show.as_json(found.as_json())
        return 0 if found.ok else 2
    show.items("Problems: these must be mended", map(str, found.problems))
    show.items("Weak points: it works, and may disappoint you", map(str, found.warnings))
    show.say()
    show.say(
        "Good: the guard can be started with this." if found.ok else "The guard cannot be started with this."
    )
    show.items("What no check can promise", SAFETY_TEXT)
    return 0 if found.ok else 2


def _checked(config: Path | None) -> "CheckResult":
    from monitor.check import CheckResult, check_file
    from monitor.cli.nights import kept_lows_c

    about_book: list[Problem] = []

    def trees_of(settings: Settings) -> Mapping[str, Tree]:
        house_of = {name: sensor.house for name, sensor in settings.sensors.items()}
        file = BookFile(Path(settings.state.directory) / BOOK)
        try:
            return Book.fold(file.load(mend=False), house_of).standing
        except BookError as error:
            about_book.extend(error.problems)
        except StoreError as error:
            about_book.append(Problem("", error.message, hint=error.hint))
        return {}

    found = check_file(config, os.environ, trees_of, clock.wall_s(), kept_lows_c)
    return CheckResult((*found.problems, *about_book), found.warnings)


# ---- status and report ---------------------------------------------------------------------------------


def status(config: Config = None, json: Json = False) -> int:
    """What the guard sees now, and what it does not know; the daemon must run."""
    place = Place(config)
    seen = place.daemon.get("/api/status")
    if json:
        show.as_json(seen)
    else:
        show.say(now_text(seen, place.speech, place.settings.site.zone))
    return 0


Date = Annotated[
    str, typer.Option("--date", metavar="DATE", help="Of this local date, 2027-01-17; left out: the newest.")
]
OutDir = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", help="Write DATE.txt and DATE.html there.")
]


def report(config: Config = None, date: Date = "", out: OutDir = None) -> int:
    """The morning report as it was sent."""
    _must_be_date(date)
    place = Place(config)
    found = _found_report(place, date)
    if found is None:
        what = f"for {date}" if date else "yet"
        raise AftercareError(
            f"There is no report {what}.", f"One is sent each day at {place.settings.site.report_at}."
        )
    if out is None:
        show.say(found["text"].rstrip("\n"))
        return 0
    from monitor.report.pictures import with_images

    page = with_images(found["html"], found["pictures"])
    try:
        out.mkdir(parents=True, exist_ok=True)
        for ending, content in (("txt", found["text"]), ("html", page), ("ics", found["calendar"])):
            if content:
                (out / f"{found['date']}.{ending}").write_text(content, encoding="utf-8", newline="")
    except OSError as error:
        raise AftercareError(f"{out}: the report cannot be written there ({error.strerror}).") from error
    show.say(f"Written: {out / found['date']}.txt and .html")
    return 0


def _must_be_date(text: str) -> None:
    from datetime import date

    try:
        if text:
            date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--date {text!r} is not a date.", "Write it like 2027-01-17.") from None


def _found_report(place: Place, date: str) -> Mapping[str, Any] | None:
    from monitor.store.queries import Reader

    if place.daemon.runs():
        try:
            answer: Mapping[str, Any] = place.daemon.get(f"/api/report?date={date}")
        except AftercareError:
            return None
        return answer
    with Reader(place.state) as reader:
        found = reader.report(date or None)
    return None if found is None else asdict(found)


# ---- labels -----------------------------------------------------------------------------------


def tree_labels(out: Out = None, config: Config = None) -> int:
    """Labels for the pots as a page to print: each tree's name, and a square that opens its page.

    Point a phone's camera at the square. How the page is found stands in the settings under [web].
    """
    from monitor.links import base_url, is_only_here
    from monitor.web.labels import labels_page

    place = Place(config)
    trees = sorted(place.folded(place.entries()).standing.values(), key=lambda tree: tree.name)
    if not trees:
        raise AftercareError("There is no tree in the book yet.", "Write one down: aftercare book add tree")
    base = base_url(place.settings.web)
    text = labels_page(trees, base, place.settings.site.name)
    if out is None:
        show.say(text)
    else:
        try:
            out.write_text(text, encoding="utf-8")
        except OSError as error:
            raise AftercareError(f"{out}: it cannot be written ({error.strerror}).") from error
        show.say(f"Written: {out}. Open it in a browser, and print it.")
    show.aside(f"The labels open {base}.")
    if is_only_here(place.settings.web):
        show.aside("Only this machine finds that. Say the page's own name in hosts under [web], then print.")
    return 0
