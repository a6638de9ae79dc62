"""The whole program as people run it: a password typed at the command line, a phone, a sensor, a night."""

from pathlib import Path

from tests.cli.daemon import Daemon, publish
from tests.cli.place import Place, process
from tests.support.broker import Mosquitto, free_port
from tests.support.waiting import until
from tests.web.scene import PASSWORD
from tests.web.surfer import PHONE_PX, Surfer


def test_from_the_password_to_the_alarm_that_was_seen(
    tmp_path: Path, broker: Mosquitto, browser: Surfer
) -> None:
    """A daemon of its own, a real broker, a real browser without scripts."""
    place = Place(tmp_path, broker.port, free_port())
    place.write_book()
    done = process("web", "password", "--config", place.config, cwd=tmp_path, stdin=f"{PASSWORD}\n")
    assert done.status == 0, done.err
    address = done.out.split("The page is at ")[1].split()[0]
    browser.device(PHONE_PX, scripts=False)
    browser.forget()
    with Daemon(place) as daemon:
        publish(broker.port, "heather/cold/bench-a", -7.0)
        until(lambda: daemon.status()["alarms"], 30.0, "an alarm")
        browser.open(f"{address}/tree/larch-3")
        assert "Larch" not in browser.text()
        browser.fill("password", PASSWORD)
        browser.tap("Come in")
        assert "Larch 3" in browser.text()
        browser.tap("Now", within="nav")
        browser.tap("I’ve seen it")
        assert "Seen, and the others are told." in browser.text()

        assert {alarm["state"] for alarm in daemon.status()["alarms"] if alarm["priority"] == "high"} == {
            "acknowledged"
        }
    assert "Traceback" not in daemon.log()
    browser.device()
