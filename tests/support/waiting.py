"""Waiting for a condition with a deadline, in place of sleeping and hoping."""

import threading
import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def until(
    condition: Callable[[], T], within_s: float = 10.0, what: str = "the condition", every_s: float = 0.01
) -> T:
    """Ask `condition` again and again; its first true value, or AssertionError after `within_s`."""
    pause = threading.Event()
    deadline_s = time.monotonic() + within_s
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() > deadline_s:
            raise AssertionError(f"{what} did not come about within {within_s:g} s")
        pause.wait(every_s)
