"""A sign of life for somebody outside: while it comes, this guard really guards; when it stops, they call.

Only a machine elsewhere sees a power cut. So the absence of the sign is the alarm, and it is sent only while
everything that guarding needs is in order. It decides nothing, and knows no engine: it is shown a `Health`.
"""

import http.client
import logging
import ssl
import threading
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

from monitor.clock import monotonic_s
from monitor.settings import Liveness, Settings

PASS_LATE_S = 30.0
"""Passes are five seconds apart at most; this late, the guard hangs."""
COMMIT_OLD_S = 600.0
"""Something is committed every five minutes at least, also on the quietest day."""
OUTBOX_STUCK_S = 900.0
"""A waiting notice is tried every five minutes at least; when none was for so long, nobody delivers."""
FIRST_AFTER_S = 60.0
"""A guard that does not live this long gives no sign, however often it is started."""
LOOK_EVERY_S = 5.0
TIMEOUT_S = 15.0
MISSES_UNTIL_SAID = 3

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Health:
    """What a guard knows of itself at the end of a pass; instants are of the monotonic clock.

    `waiting_since_s` is when the oldest notice that nobody took yet was made, None when none waits;
    `tried_at_s` is when any notice was last tried.
    """

    passed_at_s: float
    committed_at_s: float
    store_ok: bool = True
    fresh_sensors: int = 0
    reaches_people: bool = True
    waiting_since_s: float | None = None
    tried_at_s: float = 0.0


def may_speak(health: Health | None, now_s: float) -> tuple[bool, str]:
    """Whether a sign of life would be true at the monotonic instant `now_s`, and why not."""
    if health is None:
        return False, "the first pass is not over"
    waiting_s = 0.0 if health.waiting_since_s is None else now_s - health.waiting_since_s
    reasons = (
        (now_s - health.passed_at_s > PASS_LATE_S, "the last pass was too long ago"),
        (not health.store_ok, "what happens cannot be kept"),
        (now_s - health.committed_at_s > COMMIT_OLD_S, "nothing was kept for too long"),
        (health.fresh_sensors < 1, "no sensor is heard"),
        (not health.reaches_people, "a high alarm would reach nobody"),
        (
            min(waiting_s, now_s - health.tried_at_s) > OUTBOX_STUCK_S,
            "notices wait, and nobody tries to deliver them",
        ),
    )
    for holds, reason in reasons:
        if holds:
            return False, reason
    return True, ""


def reaches_people(settings: Settings, record_only: Collection[str], failing: Collection[str]) -> bool:
    """False when some call tells high alarms and all its ways to reach people fail."""
    for call in settings.calls:
        if "high" not in call.tell:
            continue
        ways = set(_notifiers(settings, (*call.who, *call.pass_on_to))) - set(record_only)
        if ways and ways <= set(failing):
            return False
    return True


def _notifiers(settings: Settings, ids: Iterable[str]) -> Iterable[str]:
    for each in ids:
        person = settings.people.get(each)
        yield from person.notifiers if person is not None else (each,)


def ask(url: str, timeout_s: float = TIMEOUT_S) -> str:
    """GET without a body: empty when the answer was 2xx, else what happened, without the url's secrets.

    Certificates are verified and redirects are not followed. Blocks; `timeout_s` holds for each step [s].
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    connection: http.client.HTTPConnection
    if parts.scheme == "https":
        tls = ssl.create_default_context()
        connection = http.client.HTTPSConnection(host, parts.port, timeout=timeout_s, context=tls)
    else:
        connection = http.client.HTTPConnection(host, parts.port, timeout=timeout_s)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        connection.request("GET", path, headers={"User-Agent": "aftercare"})
        status = connection.getresponse().status
    except ssl.SSLCertVerificationError as failure:
        return f"{host} could not prove who it is: {failure.verify_message}"
    except TimeoutError:
        return f"{host} did not answer within {timeout_s:g} s"
    except (OSError, http.client.HTTPException, ValueError) as failure:
        return f"{host} could not be reached or broke off ({type(failure).__name__})"
    finally:
        connection.close()
    return "" if 200 <= status < 300 else f"{host} answered {status}"


class SignOfLife:
    """A thread that asks for `[liveness] url` every `every_s`, as long as `may_speak`.

    `health` gives the guard's newest Health; `say` is told once, in a sentence, of an address that does not
    take the sign. Attempts are `every_s` apart whatever becomes of them.
    """

    def __init__(
        self,
        liveness: Liveness,
        health: Callable[[], Health | None],
        say: Callable[[str], None],
        ask: Callable[[str], str] = ask,
    ) -> None:
        self._url = liveness.url
        self._every_s = liveness.every_s
        self._health = health
        self._say = say
        self._ask = ask
        self._next_at_s = float("inf")
        self._misses = 0
        self._silent_because = ""
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="liveness", daemon=True)

    def start(self) -> None:
        """Begin; the first sign comes when the guard has lived for a while."""
        self.due_from(monotonic_s())
        self._thread.start()

    def due_from(self, now_s: float) -> None:
        """The guard began at the monotonic instant `now_s`."""
        self._next_at_s = now_s + min(self._every_s, FIRST_AFTER_S)

    def stop(self) -> None:
        """No further sign; one that is under way is not waited for."""
        self._stopping.set()

    def join(self, timeout_s: float) -> None:
        """Wait for the end of the thread [s]."""
        self._thread.join(timeout_s)

    def turn(self, now_s: float) -> float:
        """Give a sign if it is time and true; returns how long to wait before the next turn [s]."""
        if now_s < self._next_at_s:
            return self._next_at_s - now_s
        allowed, reason = may_speak(self._health(), now_s)
        self._note_silence(reason)
        if not allowed:
            return min(LOOK_EVERY_S, self._every_s)
        self._next_at_s = now_s + self._every_s
        self._note_answer(self._ask(self._url))
        return 0.0

    def _run(self) -> None:
        wait_s = 0.0
        while not self._stopping.wait(wait_s):
            wait_s = self.turn(monotonic_s())

    def _note_silence(self, reason: str) -> None:
        if reason and not self._silent_because:
            _log.warning("No sign of life is given: %s.", reason)
        self._silent_because = reason

    def _note_answer(self, failure: str) -> None:
        self._misses = self._misses + 1 if failure else 0
        if self._misses == 1:
            _log.warning("The sign of life was not taken: %s.", failure)
        if self._misses == MISSES_UNTIL_SAID:
            self._say(f"the sign of life is not taken: {failure}")
