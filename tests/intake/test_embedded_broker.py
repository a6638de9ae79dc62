"""The broker of our own: both kinds, real; it comes up, carries messages, and goes with this process."""

import os
import signal
import subprocess
import sys

import pytest

from monitor.errors import AftercareError
from monitor.intake import broker as embedded
from monitor.intake.broker import EmbeddedBroker
from tests.support.broker import answers, free_port, need_broker
from tests.support.waiting import until


@pytest.fixture(params=["mosquitto", "iotcore"])
def kind(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Each kind in turn; mosquitto only where there is one."""
    if request.param == "mosquitto":
        program = need_broker()
        for name, value in program.environment.items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr(embedded, "find_mosquitto", lambda: program.path)
    return request.param


def test_messages_come_through_and_unacknowledged_ones_again(kind, publisher_on, start_intake) -> None:
    """MQTT 5 with a session: what the demo and `embedded = true` need."""
    with EmbeddedBroker(kind=kind) as broker:
        intake, inbox = start_intake(broker.port)
        inbox.wait_linked()
        publisher = publisher_on(broker.port)
        publisher.publish("house/bench", b"1", b"2", b"3")
        intake.acknowledge(inbox.wait_messages(3)[:1])
        publisher.publish("house/bench", b"4")
        inbox.wait_messages(4)
        intake.stop()
        _, later = start_intake(broker.port)
        later.wait_messages(3)
        assert later.payloads()[:3] == [b"2", b"3", b"4"]


def test_it_ends_with_the_block_and_frees_its_port(kind) -> None:
    """Safe to stop twice."""
    broker = EmbeddedBroker(kind=kind)
    with broker:
        assert broker.running()
        assert answers(broker.port)
    assert not broker.running()
    until(lambda: not answers(broker.port), 10, "the free port")
    broker.stop()


def test_it_is_heard_on_this_computer_only(kind) -> None:
    """Asks for no password, so it must not be open to the network."""
    with EmbeddedBroker(kind=kind) as broker:
        listening = subprocess.run(
            ["cat", "/proc/net/tcp"], capture_output=True, text=True, check=True
        ).stdout
        at = [
            line.split()[1] for line in listening.splitlines() if f":{broker.port:04X} 00000000:0000" in line
        ]
        assert at == [f"0100007F:{broker.port:04X}"]


def test_it_dies_with_the_process_that_started_it(kind, tmp_path) -> None:
    """Also by `kill -9`: no broker is left behind."""
    environment = {**os.environ, "KIND": kind}
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD], stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, env=environment
    )
    assert child.stdout is not None
    port = int(child.stdout.readline())
    assert answers(port)
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    until(lambda: not answers(port), 10, "the end of the broker")


CHILD = """
import os, time
from monitor.intake.broker import EmbeddedBroker
broker = EmbeddedBroker(kind=os.environ["KIND"])
broker.start()
print(broker.port, flush=True)
time.sleep(600)
"""


def test_a_taken_port_is_said(kind) -> None:
    """Most likely the computer's own broker runs there already."""
    with EmbeddedBroker(kind=kind) as first:
        with pytest.raises(AftercareError, match=f"Port {first.port} is taken by another program"):
            EmbeddedBroker(port=first.port, kind=kind).start()
        assert first.running()


def test_a_broker_that_cannot_start_is_said(kind) -> None:
    """An address that is not this computer's (published: RFC 5737, for documentation only)."""
    with pytest.raises(AftercareError, match=rf"\({kind}\) did not start on 192\.0\.2\.1 port"):
        EmbeddedBroker(port=free_port(), listen="192.0.2.1", kind=kind).start()


def test_without_any_broker_the_sentence_says_what_to_install(monkeypatch) -> None:
    """Neither program nor package."""
    monkeypatch.setattr(embedded, "find_mosquitto", lambda: None)
    monkeypatch.setattr(embedded.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(
        AftercareError, match="neither mosquitto nor the package iotcore is installed"
    ) as error:
        EmbeddedBroker()
    assert "apt install mosquitto" in str(error.value)


def test_mosquitto_is_preferred_and_iotcore_stands_in(monkeypatch) -> None:
    """The one that keeps what it has and is the faster."""
    monkeypatch.setattr(embedded, "find_mosquitto", lambda: "/usr/sbin/mosquitto")
    assert EmbeddedBroker().kind == "mosquitto"
    monkeypatch.setattr(embedded, "find_mosquitto", lambda: None)
    assert EmbeddedBroker().kind == "iotcore"
