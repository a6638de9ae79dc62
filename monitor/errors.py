"""Every error this program raises on purpose, as one tree.

    AftercareError                 anything the program can explain; exit status 1
    ├── UsageError                 wrong words on the command line; exit status 2
    ├── SettingsError              the configuration has problems (all of them are listed); exit status 2
    ├── BookError                  an entry of the book cannot be taken; exit status 2
    ├── RecordingError             a recording cannot be read; exit status 2
    ├── PayloadError               a message's payload is not what its sensor should send
    ├── StoreError                 the state directory or its database cannot be used
    │   ├── StateInUse             another daemon owns this state directory
    │   └── NewerSchema            the database was written by a newer release
    ├── NotRunning                 the daemon that the command needs is not running
    └── DeliveryFailure            a notifier could not deliver
        ├── TemporaryFailure       worth another try, perhaps after `retry_after_s`
        └── PermanentFailure       this notice will never go this way

Messages are one sentence that names the place; `hint` says what to do. This module knows nothing else.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in one place of a file; `key` is dotted, `line` counts from 1 or is 0."""

    file: str
    message: str
    key: str = ""
    line: int = 0
    hint: str = ""

    def __str__(self) -> str:
        """One line: place, what is wrong, what to do."""
        place = ", ".join(
            part for part in (self.file, f"line {self.line}" if self.line else "", self.key) if part
        )
        text = f"{place}: {self.message}" if place else self.message
        return f"{text} {self.hint}".rstrip() if self.hint else text


class AftercareError(Exception):
    """Anything the program can explain to the person at the keyboard."""

    exit_status = 1

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        """The message, then what to do about it."""
        return f"{self.message} {self.hint}".rstrip()


class UsageError(AftercareError):
    """Wrong words on the command line."""

    exit_status = 2


class SettingsError(AftercareError):
    """The configuration has problems; all of them are in `problems`."""

    exit_status = 2

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


class BookError(AftercareError):
    """One or more entries of the book cannot be taken; each is in `problems`."""

    exit_status = 2

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


class RecordingError(AftercareError):
    """A recording cannot be read."""

    exit_status = 2


class PayloadError(AftercareError):
    """A message's payload is not what its sensor should send."""


class StoreError(AftercareError):
    """The state directory or its database cannot be used."""


class StateInUse(StoreError):
    """Another daemon owns this state directory."""


class NewerSchema(StoreError):
    """The database was written by a newer release of this program."""


class NotRunning(AftercareError):
    """The command needs the daemon, and no daemon answers."""


class DeliveryFailure(AftercareError):
    """A notifier could not deliver; `message` is the reason."""


class TemporaryFailure(DeliveryFailure):
    """Worth another try; `retry_after_s` is the other side's own wish, if it had one."""

    def __init__(self, message: str, retry_after_s: float | None = None) -> None:
        super().__init__(message)
        self.retry_after_s = retry_after_s


class PermanentFailure(DeliveryFailure):
    """This notice will never go this way; `until_drill` closes the way until a drill succeeds."""

    def __init__(self, message: str, hint: str = "", until_drill: bool = False) -> None:
        super().__init__(message, hint)
        self.until_drill = until_drill
