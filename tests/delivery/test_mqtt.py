"""Notices through a real broker."""

import json
from pathlib import Path

import pytest

from monitor.delivery.notifiers import mqtt
from monitor.delivery.notifiers.mqtt import Mqtt
from monitor.errors import DeliveryFailure, PermanentFailure, SettingsError, TemporaryFailure
from monitor.settings import Broker
from monitor.testing import sample_notice
from tests.delivery.cases import listener
from tests.support.broker import Mosquitto, free_port, need_broker
from tests.support.servers import HANG, greeting
from tests.support.waiting import until

NOTICE = sample_notice("lamp")


def lamp(broker: Broker, find: Path = Path(), **more: object) -> Mqtt:
    """A publisher to that broker; its files stand in `find`."""
    values = {"topic": "heather/notices", "timeout_s": 1, "broker": broker, "find": find.joinpath, **more}
    return mqtt.create("lamp", values, {}.__getitem__)


def failure_of(notifier: Mqtt) -> DeliveryFailure:
    """How delivering the sample notice fails."""
    with pytest.raises(DeliveryFailure) as caught:
        notifier.deliver(NOTICE, 0.0, NOTICE.at_s)
    return caught.value


def test_a_notice_arrives_as_json_and_is_not_kept_for_later(tmp_path: Path) -> None:
    """Whoever listens gets it; whoever connects afterwards does not hear an old alarm."""
    with Mosquitto(need_broker(), tmp_path) as broker:
        with listener(broker.port) as heard:
            lamp(Broker(port=broker.port)).deliver(NOTICE, 0.0, NOTICE.at_s)
            data = json.loads(until(lambda: heard and heard[0], what="the message"))
        with listener(broker.port) as later:
            lamp(Broker(port=broker.port)).deliver(sample_notice("lamp", notice="n2"), 0.0, NOTICE.at_s)
            assert json.loads(until(lambda: later and later[0], what="the message"))["notice"] == "n2"

    assert data["subject"] == NOTICE.subject
    assert data["alarms"][0]["alarm"] == "low-temperature/yew-2"


def test_a_long_notice_stays_below_20_kb(tmp_path: Path) -> None:
    """A lamp has little memory."""
    with Mosquitto(need_broker(), tmp_path) as broker, listener(broker.port) as heard:
        many = sample_notice("lamp", details=NOTICE.details * 200)
        lamp(Broker(port=broker.port)).deliver(many, 0.0, NOTICE.at_s)

        body = until(lambda: heard and heard[0], what="the message")

    assert len(body) <= 20_000
    assert json.loads(body)["more"] > 100


def test_a_broker_that_is_gone_is_temporary_and_a_new_one_is_found(tmp_path: Path) -> None:
    """The sentence names the place; the next attempt connects anew."""
    broker = Mosquitto(need_broker(), tmp_path, port=free_port())
    sender = lamp(Broker(port=broker.port))

    failure = failure_of(sender)
    with broker:
        sender.deliver(NOTICE, 0.0, NOTICE.at_s)

    assert isinstance(failure, TemporaryFailure)
    assert f"No message post answers at 127.0.0.1 port {broker.port}" in failure.message


@pytest.mark.parametrize("line", [HANG, "220 mail.example.org"])
def test_something_else_than_a_broker_is_temporary(line: str) -> None:
    """Silent, or not speaking MQTT."""
    with greeting(line) as port:
        assert isinstance(failure_of(lamp(Broker(port=port))), TemporaryFailure)


def test_a_wrong_password_and_a_forbidden_topic_are_permanent(tmp_path: Path) -> None:
    """The broker's passwords and access list are real ones."""
    program = need_broker()
    (tmp_path / "password").write_text("wrong horse\n")
    (tmp_path / "access").write_text("topic read heather/#\ntopic write heather/free\n")
    (tmp_path / "access").chmod(0o644)
    with Mosquitto(program, tmp_path, ["password_file /dev/null"], anonymous=False) as broker:
        login = Broker(port=broker.port, username="house", password_file="password")
        failure = failure_of(lamp(login, tmp_path))
        assert isinstance(failure, PermanentFailure)
        assert "User name or password were refused" in failure.message
        assert "horse" not in str(failure)
        missing = Broker(port=broker.port, username="house", password_file="nowhere")
        assert isinstance(failure_of(lamp(missing, tmp_path)), PermanentFailure)
    with Mosquitto(program, tmp_path, [f"acl_file {tmp_path / 'access'}"]) as broker:
        failure = failure_of(lamp(Broker(port=broker.port)))
        assert isinstance(failure, PermanentFailure)
        assert "Publishing to heather/notices was refused" in failure.message
        lamp(Broker(port=broker.port), topic="heather/free").deliver(NOTICE, 0.0, NOTICE.at_s)


@pytest.mark.parametrize("topic", ["", "heather/#", "+/x", "$SYS/x", "a\nb", "x" * 65_536, 5])
def test_a_topic_that_cannot_be_written_is_refused(topic: object) -> None:
    """MQTT 5.0, 4.7.1 (published): no wildcards, at most 65,535 bytes."""
    assert [key for key, _, _ in mqtt.problems("lamp", {"topic": topic})] == ["topic"]
    with pytest.raises(SettingsError, match=r"notifiers\.lamp\.topic"):
        lamp(Broker(), topic=topic)
