"""Commit, then acknowledge: what was handled waits here until it is on the disk, then messages are answered.

Guarding goes before keeping: while the store fails, messages are answered once handled, notices go out from
memory, and what waits is kept until the store recovers. It knows the store and who wants to hear of a
commit; it knows no limits and no people.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from hashlib import blake2b
from typing import Protocol

from monitor.clock import monotonic_s
from monitor.errors import StoreError
from monitor.model import NOTHING, Effects, Message

HELD_AT_MOST = 250
HELD_WHEN_IDLE = 16
"""A stock broker sends no more than twenty without an answer, and its limit cannot be seen from here."""
HELD_LONGEST_S = 30.0
ALIVE_EVERY_S = 240.0
"""Something is committed at least this often, so that a start knows how long nobody watched."""
RETRY_AFTER_S = 5.0
READINGS_IN_MEMORY = 10_000
DIGESTS = 1_000


class Commits(Protocol):
    """What keeping needs of a store."""

    def commit(
        self, effects: Sequence[Effects], at_s: float, digests: Sequence[tuple[str, bytes]] = ()
    ) -> None:
        """Keep everything or nothing; StoreError when it cannot."""
        ...


def digest(payload: bytes) -> bytes:
    """A short name for a payload."""
    return blake2b(payload, digest_size=12).digest()


class Keeping:
    """Effects and messages between being handled and being kept."""

    def __init__(self, store: Commits, acknowledge: Callable[[Sequence[Message]], None]) -> None:
        self._store = store
        self._acknowledge = acknowledge
        self._effects: list[Effects] = []
        self._messages: list[Message] = []
        self._kept: Counter[tuple[str, bytes]] = Counter()
        self._kept_order: list[tuple[str, bytes]] = []
        self._since_s: float | None = None
        self.kept_at_s = monotonic_s()
        """When something was last kept, of the monotonic clock; the start counts."""
        self._retry_s = 0.0
        self._urgent = False
        self.failing = ""
        self.dropped_readings = 0

    def load(self, digests: Sequence[tuple[str, bytes]]) -> None:
        """What was committed before the start; a message that comes again may be on this list."""
        self._remember(digests)

    def comes_again(self, message: Message) -> bool:
        """Whether a redelivered message was committed already; each is known once."""
        if not message.dup or not self._kept:
            return False
        key = (message.topic, digest(message.payload))
        if self._kept[key] <= 0:
            return False
        self._kept[key] -= 1
        return True

    def hold(self, effects: Effects, message: Message | None = None) -> None:
        """One event was handled; its message is answered after the commit."""
        if message is not None:
            self._messages.append(message)
        if effects is not NOTHING:
            self._effects.append(effects)
            self._urgent = self._urgent or effects.urgent
        if self._since_s is None:
            self._since_s = monotonic_s()

    def hurry(self) -> None:
        """Commit at the next chance: what was sent over a link that is gone will come again."""
        self._urgent = True

    @property
    def urgent(self) -> bool:
        """Whether something waits that must not wait."""
        return self._urgent

    def wait_s(self) -> float:
        """How long a commit may still be put off [real s]."""
        since_s = self._since_s if self._since_s is not None else self.kept_at_s + ALIVE_EVERY_S
        return max(0.0, since_s + HELD_LONGEST_S - monotonic_s())

    def is_due(self, idle: bool) -> bool:
        """Whether to commit now; `idle` says that nothing more is queued."""
        now_s = monotonic_s()
        if self.failing and now_s < self._retry_s:
            return self._urgent
        held = len(self._messages)
        if self._urgent or held >= HELD_AT_MOST or (idle and held >= HELD_WHEN_IDLE):
            return True
        if self._since_s is not None and now_s - self._since_s >= HELD_LONGEST_S:
            return True
        return now_s - self.kept_at_s >= ALIVE_EVERY_S

    def commit(self, at_s: float) -> bool:
        """Keep what is held and answer its messages; False when the store failed (answered all the same)."""
        digests = [(m.topic, digest(m.payload)) for m in self._messages[-DIGESTS:] if m.qos]
        try:
            self._store.commit(self._effects, at_s, digests)
        except StoreError as error:
            self.failing = str(error)
            self._retry_s = monotonic_s() + RETRY_AFTER_S
            self._shed()
            kept = False
        else:
            self.failing = ""
            self._effects.clear()
            self._remember(digests)
            kept = True
        self._acknowledge(self._messages)
        self._messages.clear()
        self._since_s = None if kept else self._since_s
        self.kept_at_s = monotonic_s() if kept else self.kept_at_s
        self._urgent = False
        return kept

    def _shed(self) -> None:
        """Readings beyond what memory may hold go, oldest first; everything else stays."""
        surplus = sum(len(effects.readings) for effects in self._effects) - READINGS_IN_MEMORY
        for index, effects in enumerate(self._effects):
            if surplus <= 0:
                break
            surplus -= len(effects.readings)
            self.dropped_readings += len(effects.readings)
            self._effects[index] = effects._replace(readings=())
        self._effects = [effects for effects in self._effects if effects != NOTHING]

    def _remember(self, digests: Sequence[tuple[str, bytes]]) -> None:
        for key in digests:
            self._kept[key] += 1
            self._kept_order.append(key)
        surplus = len(self._kept_order) - DIGESTS
        for key in self._kept_order[: max(0, surplus)]:
            self._kept[key] -= 1
            if self._kept[key] <= 0:
                del self._kept[key]
        del self._kept_order[: max(0, surplus)]
