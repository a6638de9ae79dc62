"""What comes from outside stays words: it becomes no path, header, sign to a terminal, formula or markup.

A house whose book, sensors and message post are as hostile as the formats allow; every text that the program
gives is looked through. Secrets of that house stand in nothing that it says or keeps.
"""

import csv
import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import NamedTuple

import pytest
from lxml import html as lxml_html

from monitor.errors import AftercareError
from tests.faults.house import COLD_C, JOURNAL, LARCH, TOPIC, House, email, guarded, told, webhook
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto
from tests.support.servers import HttpServer, MailServer
from tests.support.waiting import until

STEERS = "\x1b[2J\x1b]0;owned\x07\x9b31m"
NASTY = '=cmd|"/C calc"!A0 <script>alert(1)</script> ../../etc/passwd'
"""Printable, so that it is a name like any other."""
SECRET = "whsec_" + "QUJD" * 10


class Scene(NamedTuple):
    """The house and where its notices went."""

    house: House
    mail: MailServer
    hook: HttpServer


@pytest.fixture(scope="module")
def scene(folder: Path, broker: Mosquitto) -> Iterator[Scene]:
    """A tree of that name freezes, and notices about it have gone out."""
    with ExitStack() as stack:
        mail, hook = stack.enter_context(MailServer()), stack.enter_context(HttpServer())
        ways = email("mail", mail.port) + webhook("hook", hook.url) + told("mail", "hook") + JOURNAL
        house = stack.enter_context(guarded(folder, broker.port, ways=ways))
        house.ask(
            "/api/book", entries=[{"kind": "tree", "tree": "larch-3", "name": NASTY, "sensor": "bench-a"}]
        )
        house.ask("/api/book", entries=[{"kind": "note", "tree": "larch-3", "note": NASTY}])
        with Publisher(broker.port, "stranger") as stranger:
            stranger.publish(TOPIC + "bench-b", f'{{"t": "{STEERS}"}}'.encode(), STEERS.encode())
        house.air["bench-a"] = COLD_C
        house.rises(LARCH)
        until(lambda: mail.mails and hook.requests, 15.0, "notices")
        yield Scene(house, mail, hook)


def said(house: House, *words: str) -> str:
    """What a command prints, byte for byte."""
    done = subprocess.run(
        [sys.executable, "-P", "-m", "monitor.cli.entry", *words, "--config", str(house.config)],
        check=False,
        capture_output=True,
        env={**os.environ, **house.runtime},
    )
    return (done.stdout + done.stderr).decode()


def test_a_name_that_steers_is_refused_and_one_of_two_lines_becomes_one(scene: Scene) -> None:
    """Neither gets into the book as it came."""
    tree = {"kind": "tree", "tree": "larch-9", "sensor": "bench-a"}
    with pytest.raises(AftercareError, match="cannot be printed"):
        scene.house.ask("/api/book", entries=[{**tree, "name": f"Larch{STEERS}"}])
    answer = scene.house.ask("/api/book", entries=[{**tree, "name": "Larch\r\nBcc: all@example.org"}])
    assert answer["value"]["entries"][0]["name"] == "Larch Bcc: all@example.org"


@pytest.mark.parametrize("tree", ["../../etc", "a/b", ".", "Larch", "a\nb", "-rf", "larch-8\n", "\x00"])
def test_an_id_can_be_no_path_and_no_option(scene: Scene, tree: str) -> None:
    """Ids become parts of addresses and file names: made harmless, or refused."""
    entry = {"kind": "tree", "tree": tree, "name": "x", "sensor": "bench-a"}
    try:
        answer = scene.house.ask("/api/book", entries=[entry])
    except AftercareError:
        return
    assert re.fullmatch(r"[a-z0-9][a-z0-9_-]{0,62}", answer["value"]["entries"][0]["tree"])


@pytest.mark.parametrize(
    "words",
    [
        ("status",), ("status", "--json"), ("alarm", "list"), ("book", "list"), ("tree", "show", "larch-3"),
        ("report",), ("check",), ("export", "notices"), ("listen", "--seconds", "2"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_no_command_steers_a_terminal(scene: Scene, broker: Mosquitto, words: tuple[str, ...]) -> None:
    """Not one control character but line ends, whatever stands in book, messages and topics."""
    with Publisher(broker.port, "stranger") as stranger:
        topic = "odd/\u202e\u2066topic"  # a broker passes these on; other control characters it refuses
        stranger.publish(topic, b'{"temperature": 1.5}', retain=words[0] == "listen")
        text = said(scene.house, *words)
        stranger.publish(topic, b"", retain=True)

    assert text
    assert {c for c in text if not c.isprintable()} <= {"\n"}, [c for c in text if not c.isprintable()]


def test_no_cell_is_a_formula(scene: Scene) -> None:
    """Independent: Python's own reader of CSV."""
    for what in ("notices", "alarms"):
        rows = list(csv.reader(io.StringIO(said(scene.house, "export", what, "--format", "csv"))))
        assert len(rows) > 1
        assert [cell for row in rows for cell in row if cell.startswith(("=", "+", "@", "\t"))] == []
        assert any(NASTY in cell for row in rows for cell in row)


def test_no_page_has_it_as_markup(scene: Scene) -> None:
    """The report's page and the mail's: independent, as lxml reads them."""
    report = scene.house._socket.get("/api/report?date=")
    pages = [report["html"]]
    for each in scene.mail.mails:
        part = each.message.get_body(("html",))
        pages += [part.get_content()] if part is not None else []
    for page in pages:
        document = lxml_html.fromstring(page)
        assert document.xpath("//script") == []
    assert "<script>" in lxml_html.fromstring(report["html"]).text_content()


def test_no_header_carries_it_onto_a_second_line(scene: Scene) -> None:
    """Mail as Python's own parser reads it: the headers are ours, the recipients as configured."""
    for each in scene.mail.mails:
        assert each.to == ("grower@example.org",)
        ours = {"Bcc", "Cc", "Sender"} & set(each.message.keys())
        assert ours == set()


def test_nothing_lies_beside_the_state(scene: Scene) -> None:
    """Whatever was named like a path: no file but those that the house itself has."""
    known = {
        "monitor.toml", "state", "run", "log", "hook-secret", "notify",
        *(path.name for path in scene.house.folder.glob("mosquitto-*")),
    }  # fmt: skip
    assert {path.name for path in scene.house.folder.iterdir()} <= known


def test_no_secret_is_said_or_kept(scene: Scene) -> None:
    """Neither in the log, nor in answers, nor in any file of the state, nor in what goes out."""
    secret = SECRET.removeprefix("whsec_").encode()
    house = scene.house
    spoken = house.said() + json.dumps(house.status()) + said(house, "check") + said(house, "drill")
    kept = b"".join(path.read_bytes() for path in house.state.rglob("*") if path.is_file())
    sent = b"".join(mail.raw for mail in scene.mail.mails) + b"".join(r.body for r in scene.hook.requests)

    assert secret not in spoken.encode() + kept + sent


def test_a_flood_at_qos_0_is_bounded_and_said(tmp_path: Path, own_broker: Mosquitto) -> None:
    """While a pass lasts, messages at QoS 0 are turned away beyond a number; then all is well."""
    with guarded(tmp_path, own_broker.port) as house:
        house.order("slow", 3.0)
        with Publisher(own_broker.port, "flood") as flood:
            flood.publish(TOPIC + "bench-a", *[b'{"t": 1.8}'] * 8000, qos=0)
        house.order("slow", None)
        words = "came faster than I could take them"
        until(lambda: any(words in text for text in house.status().get("unknown", ())), 20.0, words)
        until(lambda: house.status() and not house.standing(), 20.0, "a house without alarms")
