"""One call of a notifier with a hard deadline; it knows neither notices nor retries.

Python cannot stop a thread. So each call runs in a thread of its own, and one that does not come back in time
is left to it: the worker goes on, and may still hear later what became of the call.
"""

import logging
import threading
from collections.abc import Callable

from monitor.errors import DeliveryFailure, TemporaryFailure

_log = logging.getLogger(__name__)


class Call:
    """A call under way: `failure` means something once `done` says so; None then is success."""

    def __init__(self, work: Callable[[], None], name: str, on_done: Callable[[], None]) -> None:
        self.failure: DeliveryFailure | None = None
        self._work = work
        self._on_done = on_done
        self._done = threading.Event()
        threading.Thread(target=self._run, name=name, daemon=True).start()

    @property
    def done(self) -> bool:
        """Whether the call has come back."""
        return self._done.is_set()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the call to come back [real s]; False when it does not in time."""
        return self._done.wait(timeout_s)

    def _run(self) -> None:
        self.failure = TemporaryFailure("the call ended without an answer")
        try:
            self._work()
            self.failure = None
        except DeliveryFailure as failure:
            self.failure = failure
        except Exception as fault:  # noqa: BLE001 - the plug-in boundary
            _log.exception("a notifier failed in a way it should not")
            self.failure = TemporaryFailure(f"fault inside the notifier: {type(fault).__name__}")
        finally:
            self._done.set()
            self._on_done()
