"""The daemon in a process of its own, with waits short enough for a test, and faults that a test may order.

`python -m tests.faults.child CONFIG` reads, beside CONFIG:

    wall     how far people's clock stands ahead of the computer's own [s]; read again at each look
    rate     guard seconds in one real second, at the start
    dies     `before` or `after`: end by SIGKILL before or after the next commit that holds a transition
    packages a folder whose installed packages count, too
    slow     each pass takes so long [s]
    humble   be no more than others where it is run by root
"""

import functools
import os
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from monitor import app, clock, keeping
from monitor.cli import run
from monitor.cli.entry import main as aftercare
from monitor.intake.mqtt import Intake, Pace
from monitor.store.sqlite import Store
from tests.store.child import give_up_rights


def main() -> int:
    """Run until told to stop."""
    config = Path(sys.argv[1])
    _hurry()
    if (config.parent / "humble").exists():
        give_up_rights()
    real_wall_s, beside = clock.wall_s, config.parent
    clock.wall_s = lambda: round(real_wall_s() + float(_ordered(beside / "wall") or 0.0), 3)
    rate = _ordered(beside / "rate")
    if rate:
        run.open_guard = functools.partial(app.open_guard, rate=float(rate))
    Store.commit = _dying(Store.commit, beside / "dies")  # type: ignore[method-assign]
    app.Guard.one_pass = _slowed(app.Guard.one_pass, beside / "slow")  # type: ignore[method-assign]
    if (beside / "packages").is_dir():
        sys.path.append(str(beside / "packages"))
    return aftercare(["run", "--config", str(config)])


def _hurry() -> None:
    """What waits in earnest for seconds waits for moments."""
    app.PASS_AT_LEAST_EVERY_S = 0.1
    app.SNAPSHOT_EVERY_S = 0.05
    keeping.HELD_WHEN_IDLE = 1
    keeping.HELD_LONGEST_S = 0.2
    keeping.RETRY_AFTER_S = 0.2
    hasty = functools.partialmethod(Intake.__init__, keepalive_s=1, pace=Pace(first_s=0.05, longest_s=0.3))
    Intake.__init__ = hasty  # type: ignore[assignment]


def _ordered(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def _slowed(one_pass: Callable[[app.Guard], None], orders: Path) -> Callable[[app.Guard], None]:
    """A pass that begins late, if that is ordered."""

    def later(guard: app.Guard) -> None:
        threading.Event().wait(float(_ordered(orders) or 0.0))
        one_pass(guard)

    return later


def _dying(commit: Callable[..., None], orders: Path) -> Callable[..., None]:
    """A commit that ends the process before or after its work, where ordered and a transition is in it."""

    def dies_at(store: Store, effects: Any, *rest: Any) -> None:
        order = _ordered(orders) if any(each.transitions for each in effects) else ""
        if order == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        commit(store, effects, *rest)
        if order == "after":
            os.kill(os.getpid(), signal.SIGKILL)

    return dies_at


if __name__ == "__main__":
    sys.exit(main())
