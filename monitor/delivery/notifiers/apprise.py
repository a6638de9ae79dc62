"""Notices to phones and chat services through the package `apprise` (the extra `phones`), loaded when used.

One address a notifier, so that each service is tried, and fails, by itself. The address usually holds a
token: it stands in a file of its own and is never said.
"""

import importlib.util
import logging
from collections.abc import Callable, Mapping
from typing import Any, Final

from monitor.delivery import keys
from monitor.delivery.notifier import Finding, refuse
from monitor.delivery.plain import one_line, plain
from monitor.errors import TemporaryFailure
from monitor.model import Notice, NoticeKind, Priority

KIND = "apprise"

RULES: Final[Mapping[str, keys.Rule]] = {"url_file": keys.text("the name of a file", required=True)}
INSTALL = "Install it with: pip install 'greenhouse-aftercare-monitor[phones]'"


def problems(name: str, values: Mapping[str, object]) -> list[Finding]:
    """Wrong keys, and the package that may be missing."""
    found = keys.findings(RULES, values)
    if importlib.util.find_spec("apprise") is None:
        found.append(("type", "this type needs the package apprise, which is not installed.", INSTALL))
    return found


def create(name: str, values: Mapping[str, object], files: Callable[[str], str]) -> "Phones":
    """A notifier for the service whose address stands in `url_file`."""
    refuse(name, problems(name, values))
    import apprise

    # At its lower levels the package logs whole addresses, and with them tokens.
    logging.getLogger("apprise").setLevel(logging.CRITICAL)
    service = apprise.Apprise()
    if not service.add(files(str(values["url_file"])).strip()) or len(service) != 1:
        hint = "Write one address into it, as the documentation of apprise has it for the service."
        refuse(name, [("url_file", "the file does not hold the address of one service.", hint)])
    return Phones(service)


class Phones:
    """One service; `service` is an `apprise.Apprise` with one address."""

    def __init__(self, service: Any) -> None:
        self._service = service

    def __repr__(self) -> str:
        return "Phones()"

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Hand the notice over; the package tells success from failure and no more."""
        taken = self._service.notify(
            body=plain(notice.text),
            title=one_line(notice.subject),
            notify_type=type_of(notice),
            body_format="text",
        )
        if not taken:
            raise TemporaryFailure("the service did not take the notice")

    def close(self) -> None:
        """Nothing is held."""


def type_of(notice: Notice) -> str:
    """The package's word for how much a notice matters."""
    if notice.kind is NoticeKind.CLEARED:
        return "success"
    if notice.kind in (NoticeKind.REPORT, NoticeKind.DRILL, NoticeKind.SEEN):
        return "info"
    return "failure" if notice.priority is Priority.HIGH else "warning"
