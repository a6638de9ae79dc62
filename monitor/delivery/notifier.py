"""What a way of delivering notices has to offer; it knows no way by name.

A kind of notifier is one file in `monitor/delivery/notifiers/`, named as its `KIND`, or an entry point of the
group `monitor.notifiers` whose name is the kind and whose object (a module will do) offers the same:

    KIND                          the word after `type =` in the configuration
    create(name, values, files)   a Notifier; SettingsError when a value or a secret cannot be right
    problems(name, values)        what is wrong with the settings: (key, message, hint) each
    RECORD_ONLY = True            only if it keeps a record and reaches nobody
    NEEDS = ("broker", ...)       only if it must know more: then in `values`: folder, site, broker, find

A notifier whose `SHOWS_PICTURES` is True gets a report's pictures as `data:` images in the notice's page.

`values` are the keys of the notifier's table without `type`; `files(name)` gives a secret's text.
"""

from collections.abc import Callable, Mapping
from typing import Protocol

from monitor.errors import Problem, SettingsError
from monitor.model import Notice

Finding = tuple[str, str, str]
"""What is wrong with one key: the key, the fault, what to do about it."""


class Notifier(Protocol):
    """One configured way to deliver a notice."""

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Hand over one notice; to return means that the other side has taken it.

        `at_s` is the instant of this attempt on people's clock, as `notice.at_s` is that of its making [s
        since 1970]; `delayed_s` is how long ago it was made [s], and the text already says so where it
        matters. The same notice may come again, with the same `notice.notice`. Time-outs are the notifier's
        own; a call that hangs all the same is left alone, and nothing else goes this way until it ends.

        Raises TemporaryFailure (another try is worth it) or PermanentFailure (this notice never goes this
        way); anything else is a fault of the notifier and is tried again.
        """

    def close(self) -> None:
        """Give back whatever is held; called once no call runs any more, perhaps twice."""


class NotifierKind(Protocol):
    """What a notifier's file offers."""

    KIND: str

    def create(self, name: str, values: Mapping[str, object], files: Callable[[str], str]) -> Notifier:
        """The notifier that these settings describe."""

    def problems(self, name: str, values: Mapping[str, object]) -> list[Finding]:
        """Everything that is wrong with these settings, without touching disk or network."""


def refuse(name: str, findings: list[Finding]) -> None:
    """Raise SettingsError when there is anything in `findings` about the notifier `name`."""
    if findings:
        raise SettingsError(
            [Problem("", text, key=f"notifiers.{name}.{key}", hint=hint) for key, text, hint in findings]
        )
