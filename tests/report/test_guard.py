"""The whole guard, from readings to the mail in the morning: real store, real child, real mail server."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import EmailMessage
from pathlib import Path

from monitor.app import Guard, open_guard
from monitor.delivery.notifiers import email
from monitor.model import Message
from monitor.store.queries import Reader
from tests.report.nights import JANUARY, Scenario, instant, quiet_house, three_trees
from tests.support.broker import free_port
from tests.support.servers import MailServer
from tests.support.waiting import until

BEGINS_S = instant("2027-01-17T06:30+00:00")
RATE = 200.0
DATE = "2027-01-17"


@contextmanager
def guarding(folder: Path, mail_port: int) -> Iterator[Guard]:
    """A guard in quick time from half past six on, without a message post; its readings are handed in."""
    settings = Scenario(JANUARY, JANUARY, quiet_house).settings(folder)
    settings = settings.model_copy(
        update={"broker": settings.broker.model_copy(update={"port": free_port()}), "liveness": None}
    )
    lines = "".join(json.dumps(entry) + "\n" for entry in three_trees(BEGINS_S - 86400.0))
    state = Path(settings.state.directory)
    if not (state / "book.jsonl").exists():
        state.mkdir(mode=0o700, parents=True, exist_ok=True)
        (state / "book.jsonl").write_text(lines, encoding="utf-8")
    values = {"host": "127.0.0.1", "port": mail_port, "from": "h@example.org", "to": ["g@example.org"]}
    mailer = email.create("mail", values, {}.__getitem__)
    guard = open_guard(settings, RATE, BEGINS_S, {"mail": mailer})
    thread = threading.Thread(target=guard.run, daemon=True)
    thread.start()
    try:
        yield guard
    finally:
        guard.stop()
        thread.join(20)


def hand_in(guard: Guard, air_c: float) -> None:
    """A reading of each bench, as if it had come by the message post."""
    for sensor in ("bench-a", "bench-b"):
        body = json.dumps({"t": air_c, "rh": 80}).encode()
        guard._queue.put(Message(guard.clock.now_s(), f"heather/cold/{sensor}", body))


def reports_of(server: MailServer) -> list[EmailMessage]:
    """The reports among the mails that came."""
    return [each.message for each in server.mails if each.message["X-Aftercare-Kind"] == "report"]


def test_the_morning_mail_has_its_picture_and_its_calendar(tmp_path: Path) -> None:
    """Made by the calendar at 06:45, kept in the store, delivered with what was drawn meanwhile."""
    with MailServer() as server, guarding(tmp_path, server.port) as guard:

        def mails() -> list[EmailMessage]:
            hand_in(guard, 3.0)
            return reports_of(server)

        message = until(mails, 30.0, "the report", every_s=0.05)[0]
        kinds = [part.get_content_type() for part in message.walk()]
        with Reader(Path(guard.settings.state.directory)) as reader:
            kept = reader.report(DATE)

    assert kinds == [
        "multipart/mixed", "multipart/alternative", "text/plain", "multipart/related", "text/html",
        "image/png", "text/calendar",
    ]  # fmt: skip
    assert kept is not None
    assert message["Subject"] == kept.subject
    assert "<!--picture cold-->" in kept.html
    assert '"house":"cold"' in kept.pictures


def test_a_report_that_could_not_be_delivered_has_its_picture_after_a_restart(tmp_path: Path) -> None:
    """What its pictures show stands in the store; they are drawn anew."""
    nobody = free_port()
    with guarding(tmp_path, nobody) as guard:

        def made() -> bool:
            hand_in(guard, 3.0)
            with Reader(Path(guard.settings.state.directory)) as reader:
                return reader.report(DATE) is not None

        until(made, 30.0, "the report", every_s=0.05)

    server = MailServer()
    server.port = nobody
    with server, guarding(tmp_path, nobody):
        report = until(lambda: reports_of(server), 30.0, "the report")[0]

    kinds = {part.get_content_type() for part in report.walk()}
    assert {"text/plain", "text/html", "image/png", "text/calendar"} <= kinds
