"""What stands in the guard's place: takes what the intake puts, and waits for it."""

from collections.abc import Callable

from monitor.model import Message, Outcome
from tests.support.waiting import until


class Inbox:
    """Keeps messages and outcomes in the order they came."""

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self.outcomes: list[Outcome] = []

    def put(self, event: Message | Outcome) -> None:
        """What `Intake` calls."""
        if isinstance(event, Message):
            self.messages.append(event)
        else:
            self.outcomes.append(event)

    def payloads(self, since: int = 0) -> list[bytes]:
        """The payloads of all messages from that one on."""
        return [message.payload for message in self.messages[since:]]

    def wait_linked(self, times: int = 1) -> None:
        """Wait until the link has come up that often."""
        until(
            lambda: sum(outcome.ok for outcome in self.outcomes) >= times,
            10,
            f"{times} links ({self.outcomes})",
        )

    def wait_lost(self) -> Outcome:
        """Wait until the last word is that there is no link; that word."""
        return until(lambda: self._last(lambda outcome: not outcome.ok), 10, f"a lost link ({self.outcomes})")

    def wait_detail(self, part: str) -> Outcome:
        """Wait until the last word is a sentence with this in it."""
        return until(
            lambda: self._last(lambda outcome: part in outcome.detail), 10, f"{part!r} ({self.outcomes})"
        )

    def wait_messages(self, count: int) -> list[Message]:
        """Wait until that many messages have come."""
        until(lambda: len(self.messages) >= count, 10, f"{count} messages ({self.messages})")
        return self.messages

    def _last(self, is_it: Callable[[Outcome], bool]) -> Outcome | None:
        last = self.outcomes[-1] if self.outcomes else None
        return last if last is not None and is_it(last) else None
