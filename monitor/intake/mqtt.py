"""The network thread: holds a connection to the broker, and says when there is none and why.

It queues messages and reports the link; it never decides what a message means, and never acknowledges on
its own: that is for the caller, after the commit. A stock broker stops sending at 20 unacknowledged.
"""

import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from monitor.clock import monotonic_s
from monitor.errors import AftercareError, TemporaryFailure
from monitor.intake import credentials, words
from monitor.intake.link import Link
from monitor.model import Message, Outcome
from monitor.settings import Broker

KEEPALIVE_S = 30
STUCK_AFTER_S = 120.0
"""A network thread that has not come round for so long hangs: its longest wait is a name look-up."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How long to wait before the next connection [s]."""

    first_s: float = 1.0
    longest_s: float = 30.0
    settled_after_s: float = 60.0
    taken_over_s: float = 30.0
    longest_taken_over_s: float = 300.0

    def next_wait_s(self, last_wait_s: float, linked_for_s: float, taken_over: bool) -> float:
        """The wait after a connection that stood for `linked_for_s` (0: it never came about).

        It doubles until a connection has held. One that was taken over waits longer: two programs with one
        client id would push each other out for ever.
        """
        doubled_s = 0.0 if linked_for_s >= self.settled_after_s else 2 * last_wait_s
        if taken_over:
            return min(max(doubled_s, self.taken_over_s), self.longest_taken_over_s)
        return min(max(doubled_s, self.first_s), self.longest_s)


class Intake:
    """MQTT 5 in: every message goes to `put` as a `Message`, every change of the link as an `Outcome`.

    `topics` are the filters to read at QoS 1; `find` says where a file that `[broker]` names stands
    (`settings.secret_path`); `put` is called by the network thread and must not block; `now_s`
    stamps. An Outcome has the part `broker`: ok True once all topics are granted, ok False with one sentence,
    again only when it changes.
    """

    def __init__(
        self,
        broker: Broker,
        topics: Iterable[str],
        find: credentials.Find,
        put: Callable[[Message | Outcome], None],
        now_s: Callable[[], float],
        *,
        keepalive_s: int = KEEPALIVE_S,
        pace: Pace | None = None,
    ) -> None:
        self._broker = broker
        self._topics = tuple(sorted(set(topics)))
        self._find = find
        self._put = put
        self._now_s = now_s
        self._keepalive_s = keepalive_s
        self._pace = pace or Pace()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="intake", daemon=True)
        self._link: Link | None = None
        self._connections = 0
        self._said: tuple[bool, str] | None = None
        self._turned_at_s = monotonic_s()

    def start(self) -> None:
        """Start the network thread; it connects, and goes on trying."""
        self._turned_at_s = monotonic_s()
        self._thread.start()

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Acknowledge messages, in the order they came; those of an earlier connection are left alone.

        From any thread. The broker sends those of an earlier connection again; to acknowledge them by their
        old number could hit a new message that bears the same one.
        """
        link = self._link
        if link is None:
            return
        for message in messages:
            if message.connection == link.number and message.qos:
                link.acknowledge(message.mid)

    def publish(self, topic: str, payload: bytes, retain: bool = False, within_s: float = 10.0) -> None:
        """Publish at QoS 1 and wait for the broker's receipt; not from within `put`.

        TemporaryFailure when there is no connection or no receipt within `within_s` [s], PermanentFailure
        when the broker refuses the topic.
        """
        link = self._link
        if link is None or link.linked_at_s is None:
            raise TemporaryFailure(f"There is no connection to {words.place(self._broker)}.")
        link.publish(topic, payload, retain, within_s)

    def alive(self) -> bool:
        """Whether the network thread lives and comes round; it says nothing about the broker."""
        return self._thread.is_alive() and monotonic_s() - self._turned_at_s < STUCK_AFTER_S

    def stop(self, timeout_s: float = 5.0) -> None:
        """Say `offline`, disconnect in order and end the thread; the session stays at the broker."""
        self._stopping.set()
        link = self._link
        if link is not None:
            link.close(within_s=min(2.0, timeout_s))
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _run(self) -> None:
        wait_s = 0.0
        while not self._stopping.wait(wait_s):
            self._connections += 1
            link = Link(
                self._connections,
                self._broker,
                self._topics,
                self._keepalive_s,
                self._put,
                self._report,
                self._now_s,
            )
            detail = self._hold(link)
            self._link = None
            link.release()
            if not self._stopping.is_set():
                self._report(False, detail)
            linked_for_s = 0.0 if link.linked_at_s is None else monotonic_s() - link.linked_at_s
            wait_s = self._pace.next_wait_s(wait_s, linked_for_s, link.taken_over)
            self._turned_at_s = monotonic_s()

    def _hold(self, link: Link) -> str:
        """Connect, and turn until the connection ends; the sentence that says why."""
        self._link = link
        if self._stopping.is_set():
            return ""
        try:
            link.connect(credentials.load(self._broker, self._find))
        except AftercareError as error:
            return str(error)
        except (OSError, ValueError) as error:
            return words.cannot_connect(self._broker, error)
        try:
            while link.turn():
                self._turned_at_s = monotonic_s()
        # Boundary to bytes from outside: paho raises what it likes on them, and this thread must outlive it.
        except Exception as error:  # noqa: BLE001
            return words.not_mqtt(self._broker, error)
        return link.detail or words.ended(self._broker, 0, "closed")

    def _report(self, ok: bool, detail: str) -> None:
        if (ok, detail) != self._said:
            self._said = (ok, detail)
            self._put(Outcome(self._now_s(), "broker", ok, detail))
