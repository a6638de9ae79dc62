"""Notices through the package apprise to a real HTTP server."""

import importlib.util
import json
import logging
from collections.abc import Iterator

import pytest

from monitor.delivery import notifier_problems
from monitor.delivery.notifiers import apprise
from monitor.delivery.notifiers.apprise import Phones
from monitor.errors import SettingsError, TemporaryFailure
from monitor.model import NoticeKind, Priority
from monitor.testing import sample_notice
from tests.support.servers import HttpServer

# What the package has to say about the Python of the future while it loads is not ours.
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")

NOTICE = sample_notice("phone")


@pytest.fixture(autouse=True)
def _level_kept() -> Iterator[None]:
    """The notifier quiets the package's own logging."""
    level = logging.getLogger("apprise").level
    yield
    logging.getLogger("apprise").setLevel(level)


def phone(url: str) -> Phones:
    """A notifier for that address."""
    return apprise.create("phone", {"url_file": "u"}, {"u": url}.__getitem__)


def test_a_notice_arrives_and_a_refusal_passes_by_itself() -> None:
    """Title and text; an answer other than 2xx is tried again."""
    with HttpServer() as server:
        sender = phone(f"json://127.0.0.1:{server.port}/hunter2\n")
        server.faults = iter([503])
        with pytest.raises(TemporaryFailure) as caught:
            sender.deliver(NOTICE, 0.0, NOTICE.at_s)
        sender.deliver(NOTICE, 0.0, NOTICE.at_s)
        body = json.loads(server.requests[-1].body)

    assert "hunter2" not in f"{caught.value} {caught.value!r} {sender!r}"
    assert body["title"] == NOTICE.subject
    assert body["message"] == NOTICE.text
    assert body["type"] == "failure"


def test_a_server_that_is_not_there_is_a_temporary_failure() -> None:
    """Nothing listens."""
    with pytest.raises(TemporaryFailure):
        phone(f"json://127.0.0.1:{HttpServer().port}/").deliver(NOTICE, 0.0, NOTICE.at_s)


@pytest.mark.parametrize("url", ["", "no address", "nosuchservice://x", "json://a/ json://b/"])
def test_a_file_that_does_not_hold_one_address_is_refused(url: str) -> None:
    """At the start, and without repeating it."""
    with pytest.raises(SettingsError, match=r"notifiers\.phone\.url_file") as caught:
        phone(url)
    assert not url or url not in str(caught.value)


def test_without_the_package_the_settings_say_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """One sentence, before anything runs."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)

    (found,) = notifier_problems("phone", {"type": "apprise", "url_file": "u"})

    assert found[0] == "type"
    assert "not installed" in found[1]
    assert "greenhouse-aftercare-monitor[phones]" in found[2]
    with pytest.raises(SettingsError, match="not installed"):
        phone("json://127.0.0.1/")


@pytest.mark.parametrize(
    ("kind", "priority", "word"),
    [
        (NoticeKind.ACTIVATION, Priority.HIGH, "failure"),
        (NoticeKind.RAISED, Priority.MEDIUM, "warning"),
        (NoticeKind.CLEARED, Priority.HIGH, "success"),
        (NoticeKind.SEEN, Priority.HIGH, "info"),
        (NoticeKind.REPORT, Priority.LOW, "info"),
        (NoticeKind.DRILL, Priority.LOW, "info"),
    ],
)
def test_the_packages_own_words(kind: NoticeKind, priority: Priority, word: str) -> None:
    """It knows four."""
    assert apprise.type_of(sample_notice(kind=kind, priority=priority)) == word
