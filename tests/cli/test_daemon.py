"""The daemon end to end: a real broker, a real process, and the command line over its socket."""

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor.clock import rfc3339, wall_s
from tests.cli.daemon import Daemon, publish
from tests.cli.place import BOOK, Command, Place, environment, process
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto, free_port, need_broker
from tests.support.waiting import until

PROMISED = {"at", "site", "houses", "trees", "wraps", "alarms", "unknown", "storage", "delivery"}
TOPIC = "heather/cold/bench-a"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """A real one."""
    with Mosquitto(need_broker(), tmp_path) as running:
        yield running


@pytest.fixture
def house(tmp_path: Path, broker: Mosquitto) -> Place:
    """An installation at that broker, with one tender tree."""
    place = Place(tmp_path, broker.port, free_port())
    three_days_ago = rfc3339(wall_s() - 3 * 86400)
    place.write_book([{**entry, "at": three_days_ago} for entry in BOOK])
    return place


def _temperature_is(daemon: Daemon, value_c: float) -> Callable[[], bool]:
    def condition() -> bool:
        houses = daemon.status()["houses"]
        return bool(houses) and bool(houses[0]["sensors"][0]["temperature_c"] == value_c)

    return condition


def test_from_a_message_to_an_alarm_that_is_seen(house: Place, broker: Mosquitto, aftercare: Command) -> None:
    """What the README promises: readings in, an alarm out, seen, over, and an orderly end."""
    config = ("--config", house.config)
    with Daemon(house) as daemon:
        publish(broker.port, TOPIC, 3.0)
        until(_temperature_is(daemon, 3.0))
        publish(broker.port, TOPIC, -1.0)
        until(lambda: daemon.status()["alarms"])

        (alarm,) = aftercare("alarm", "list", "--json", *config).json
        text = aftercare("alarm", "list", *config).out
        status = aftercare("status", "--json", *config).json
        shown = aftercare("status", *config).out
        refused = aftercare("alarm", "shelve", alarm["alarm"], "--for", "2h", *config)
        unknown = aftercare("alarm", "ack", "nonsense", *config)
        seen = aftercare("alarm", "ack", alarm["alarm"], "--by", "ann", *config)
        (after,) = aftercare("alarm", "list", "--json", *config).json
        ended = daemon.end(signal.SIGTERM)

    assert (alarm["alarm"], alarm["state"], alarm["priority"]) == (
        "low-temperature/larch-3", "unacknowledged", "high",
    )  # fmt: skip
    assert "not seen yet" in text
    assert alarm["action"] in text
    assert status["guarding"] is True
    assert status["trees"][0]["margin_k"] == -1.0
    assert set(status) >= PROMISED
    assert "Larch 3" in shown
    assert (refused.status, unknown.status, seen.status) == (2, 2, 0)
    assert after["state"] == "acknowledged"
    assert ended == 0
    assert "Traceback" not in daemon.log()


def test_what_the_guard_sees_is_published_and_a_sensor_at_rest_is_said_to_be(
    house: Place, broker: Mosquitto, aftercare: Command
) -> None:
    """Retained at the message post for anybody; `sensor rest` takes the sensor out, `wake` brings it back."""
    config = ("--config", house.config)
    with Daemon(house) as daemon, Publisher(broker.port, client_id="lamp") as lamp:
        publish(broker.port, TOPIC, 3.0)
        until(_temperature_is(daemon, 3.0))
        lamp.listen("aftercare/places/bench-a")
        until(lambda: any(b"temperature" in each.payload for each in lamp.heard), 25.0, "what it sees")
        rested = aftercare("sensor", "rest", "bench-a", "--for", "1h", *config)
        publish(broker.port, TOPIC, -5.0)
        listed = aftercare("alarm", "list", *config).out
        shown = aftercare("status", *config).out
        too_long = aftercare("sensor", "rest", "bench-a", "--for", "2d", *config)
        woken = aftercare("sensor", "wake", "bench-a", *config)
        publish(broker.port, TOPIC, -5.0)
        until(lambda: [each for each in daemon.status()["alarms"] if each["kind"] == "low-temperature"])

    heard = next(each.payload for each in lamp.heard if b"temperature" in each.payload)
    said = {record["n"]: record for record in json.loads(heard)}
    assert (said["temperature"]["v"], said["quality"]["vs"]) == (3.0, "good")
    assert rested.status == woken.status == 0
    assert too_long.status == 2
    assert "24 h" in too_long.err
    assert "at rest" in listed
    assert "bench-a is at rest until" in shown
    assert "nobody watches Larch 3" in shown


def test_a_running_daemon_owns_its_book(house: Place, aftercare: Command, tmp_path: Path) -> None:
    """Entries go through it, and are refused by it in the same words; a second daemon is refused, too."""
    config = ("--config", house.config)
    bad = tmp_path / "bad.jsonl"
    bad.write_text('{"at":"2026-01-12T08:00:00Z","kind":"nite"}\n')
    with Daemon(house) as daemon:
        added = aftercare("book", "add", "note", "--note", "snow", *config)
        wrong = aftercare("book", "add", "work", "--tree", "oak-1", "--work", "graft", *config)
        imported = aftercare("book", "import", bad, *config)
        listed = aftercare("book", "list", "--json", *config).json
        drilled = aftercare("drill", "spool", "--json", *config)
        exported = aftercare("export", "stages", *config)
        reported = aftercare("report", *config)
        second = process("run", "--config", house.config, cwd=house.folder)
        ended = daemon.end(signal.SIGINT)

    assert added.status == 0
    assert [entry["kind"] for entry in listed] == ["tree", "work", "note"]
    assert json.loads((house.state / "book.jsonl").read_text().splitlines()[-1])["note"] == "snow"
    assert wrong.status == 2
    assert "oak-1" in wrong.err
    assert imported.status == 2
    assert imported.err.startswith(f"{bad}, line 1")
    assert drilled.json["results"][0]["ok"] is True
    assert json.loads(exported.out.splitlines()[0])["stage"] == "fresh"
    assert "Heather Bank" in reported.out
    assert second.status == 1
    assert "another aftercare" in second.err
    assert len(second.err.splitlines()) == 1
    assert ended == 0


LIST_MODULES = """
import sys
from monitor import app
from monitor.cli.entry import main

app.Guard.run = lambda guard: print(*sorted(sys.modules), sep="\\n")
sys.exit(main(["run", "--config", sys.argv[1]]))
"""
NOT_FOR_THE_DAEMON = {"typer", "rich", "matplotlib", "apprise", "icalendar", "scipy", "pyarrow"}


def test_the_daemon_does_without_what_only_the_command_line_needs(place: Place) -> None:
    """A small board pays for every module, every night."""
    done = subprocess.run(
        [sys.executable, "-c", LIST_MODULES, str(place.config)],
        check=False, cwd=place.folder, env=environment(), capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    modules = set(done.stdout.split())

    assert done.returncode == 0, done.stderr
    assert "monitor.engine" in modules
    assert "monitor.web.server" in modules
    assert modules & NOT_FOR_THE_DAEMON == set()


def test_a_hang_up_is_no_order_to_stop(place: Place) -> None:
    """SIGHUP is not used: check, then restart."""
    with Daemon(place) as daemon:
        assert daemon._process is not None
        daemon._process.send_signal(signal.SIGHUP)

        assert daemon.status()["guarding"]
        assert daemon.end(signal.SIGTERM) == 0


def test_an_exported_recording_replays_to_the_alarms_that_were(
    house: Place, broker: Mosquitto, aftercare: Command, tmp_path: Path
) -> None:
    """What a guard went through can be handed on as two files, and comes out the same elsewhere."""
    config = ("--config", house.config)
    recording, book, out = tmp_path / "recording.jsonl", tmp_path / "book.jsonl", tmp_path / "again"
    with Daemon(house) as daemon:
        publish(broker.port, TOPIC, 3.0)
        until(_temperature_is(daemon, 3.0))
        publish(broker.port, TOPIC, -1.0)
        until(lambda: daemon.status()["alarms"])
        aftercare("alarm", "ack", "low-temperature/larch-3", "--by", "ann", *config)
        daemon.end(signal.SIGTERM)

    assert aftercare("export", "recording", "--out", recording, *config).status == 0
    aftercare("export", "alarms", "--out", tmp_path / "alarms.jsonl", *config)
    book.write_text(aftercare("book", "export", *config).out, encoding="utf-8")
    assert aftercare("replay", recording, "--book", book, "--out", out, *config).status == 0

    def told(file: Path) -> list[tuple[str, ...]]:
        lines = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
        return [tuple(str(line[key]) for key in ("alarm", "occurrence", "to", "because")) for line in lines]

    assert told(out / "alarms.jsonl") == told(tmp_path / "alarms.jsonl")
    assert [step[2] for step in told(out / "alarms.jsonl")][:2] == ["unacknowledged", "acknowledged"]
