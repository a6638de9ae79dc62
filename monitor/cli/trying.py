"""`demo` and `drill`: whether it works at all, before a night shows it."""

import contextlib
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Annotated, Any

import typer

from monitor import clock
from monitor.cli import show
from monitor.cli.options import Config, Json, example
from monitor.cli.place import Place
from monitor.errors import UsageError
from monitor.model import NoticeKind

Seconds = Annotated[
    float, typer.Option("--seconds", metavar="N", min=5.0, max=3600.0, help="How long the night may last.")
]
Keep = Annotated[
    Path | None, typer.Option("--keep", metavar="DIR", help="Leave settings, book and database there.")
]
NotifierName = Annotated[
    str | None, typer.Argument(metavar="[NOTIFIER]", help="Only this way to reach you; left out: each.")
]


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the tree."""
    app.command("demo", epilog=example("demo", "demo --seconds 120 --keep demo-night"))(demo)
    app.command("drill", epilog=example("drill", "drill mail --json"))(drill)


RINGING = frozenset({NoticeKind.ACTIVATION, NoticeKind.RAISED, NoticeKind.REPEAT, NoticeKind.ESCALATION})
BEFORE = """\
A night in January at Heather Bank, thirteen hours in about {seconds:.0f} seconds. The house, its
sensors and its trees are made up; the message post between them (an MQTT broker),
the messages and the guard are real.

Three trees stand in the cold house. Larch 3 was bent hard three days ago and must
not freeze; Yew 2 and Pine 1 can bear more. The gas heater holds 4 °C. At two in the
morning its bottle is empty.
"""
AFTER = """\
That was the demo: the phones rang {rang} times, and one report came. Nothing was sent to anybody.

What to do next:
  {name} init      make a settings file for your own house (six questions)
  {name} listen    hear what your sensors send
  {name} check     see what is wrong or weak in the file
  {name} run       guard
The README says where to hang a sensor and what this program cannot promise."""


def demo(seconds: Seconds = 60.0, keep: Keep = None) -> int:
    """A hard night in about a minute, on this machine alone: sensors, a failed heater, alerts, a report."""
    from monitor.demo.play import play

    if keep is not None and keep.exists() and (not keep.is_dir() or any(keep.iterdir())):
        raise UsageError(f"{keep}: it is there already.", "Name a folder that does not exist yet.")
    show.say(BEFORE.format(seconds=seconds))
    with contextlib.ExitStack() as stack:
        folder = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="aftercare-demo-")))
        shown = play(folder, _show_now, seconds)
    rang = sum(notice.kind in RINGING for notice in shown)
    show.say()
    show.say(AFTER.format(rang=rang, name=_own_name()))
    if keep is not None:
        show.say(f"Kept in {keep}: try `{_own_name()} report --config {keep / 'monitor.toml'}`.")
    return 0


def _own_name() -> str:
    """How this program is called here: by its path where it is not among the shell's commands."""
    called = Path(sys.argv[0])
    return str(called) if called.name == "aftercare" and shutil.which("aftercare") is None else "aftercare"


def _show_now(text: str) -> None:
    print(text, flush=True)


def drill(notifier: NotifierName = None, config: Config = None, json: Json = False) -> int:
    """Send a test notice through each way to reach you, and say what happened."""
    place = Place(config)
    names = list(place.settings.notifiers)
    if notifier is not None and notifier not in names:
        raise UsageError(
            f"There is no way to reach anybody called {notifier!r}.", f"Known are: {', '.join(names)}."
        )
    wanted = names if notifier is None else [notifier]
    results = _drilled(place, wanted)
    if json:
        show.as_json({"results": results})
    else:
        for each in results:
            became = "arrived" if each["ok"] else f"FAILED: {each['detail']}"
            show.say(f"{each['notifier']}: {became} ({each['took_s']:.1f} s)")
    return 0 if all(each["ok"] for each in results) else 1


def _drilled(place: Place, names: list[str]) -> list[dict[str, Any]]:
    if place.daemon.runs():
        answers = [place.daemon.post("/api/drill", {"notifier": name}) for name in names]
        return [result for answer in answers for result in answer["results"]]
    return _drilled_here(place, names)


def _drilled_here(place: Place, names: list[str]) -> list[dict[str, Any]]:
    """Without a daemon: the same notifiers, from this process."""
    from monitor.delivery import create_notifiers
    from monitor.delivery.workers import Delivery
    from monitor.notices.drill import drill_notice
    from monitor.settings import read_secret

    settings = place.settings
    now_s = clock.wall_s()
    made = create_notifiers(settings, lambda name: read_secret(settings, name))
    delivery = Delivery({name: made[name] for name in names}, lambda outcome: None, clock.GuardClock(now_s))
    try:
        results = [delivery.drill(name, drill_notice(settings.site.name, name, now_s)) for name in names]
    finally:
        delivery.stop(5.0)
    return [
        {"notifier": r.notifier, "ok": r.ok, "detail": r.detail, "took_s": round(r.took_s, 3)}
        for r in results
    ]
