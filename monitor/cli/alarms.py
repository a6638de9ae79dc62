"""`alarm list`, `ack`, `shelve`, `resume` and `sensor rest`, `wake`: what a person answers the guard."""

import re
from typing import Annotated

import typer

from monitor import clock
from monitor.cli import show
from monitor.cli.look_words import alarm_text
from monitor.cli.options import By, Config, Json, example, new_group
from monitor.cli.place import Place
from monitor.clock import rfc3339
from monitor.errors import UsageError

LONGEST_SHELF_S = 12 * 3600.0
_DURATION = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(s|min|m|h|d)\s*$")
_UNITS_S = {"s": 1.0, "min": 60.0, "m": 60.0, "h": 3600.0, "d": 86400.0}


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the tree."""
    group = new_group("The alarms that stand; the daemon must run.", "alarm list", "alarm ack --all --by ann")
    group.callback()(lambda: None)
    group.command("list", epilog=example("alarm list", "alarm list --json"))(list_alarms)
    group.command("ack", epilog=example("alarm ack low-temperature/larch-3 --by ann", "alarm ack --all"))(ack)
    group.command("shelve", epilog=example("alarm shelve sensor-silent/bench-b --for 2h"))(shelve)
    group.command("resume", epilog=example("alarm resume sensor-silent/bench-b"))(resume)
    app.add_typer(group, name="alarm")
    sensors = new_group("Sensors out of service.", "sensor rest bench-a --for 1h")
    sensors.callback()(lambda: None)
    sensors.command("rest", epilog=example("sensor rest bench-a --for 1h"))(rest)
    sensors.command("wake", epilog=example("sensor wake bench-a"))(wake)
    app.add_typer(sensors, name="sensor")


Which = Annotated[
    list[str] | None,
    typer.Argument(metavar="ALARM|NOTICE|HOUSE...", help="What you have seen; a house stands for all of it."),
]
All = Annotated[bool, typer.Option("--all", help="Everything that stands.")]
AlarmName = Annotated[str, typer.Argument(metavar="ALARM", help="The alarm as `alarm list` names it.")]
For = Annotated[str, typer.Option("--for", metavar="TIME", help="How long: 30min, 2h.")]
SensorId = Annotated[str, typer.Argument(metavar="SENSOR", help="The sensor, by its id.")]


def list_alarms(config: Config = None, json: Json = False) -> int:
    """The alarms that stand, the most urgent first."""
    place = Place(config)
    found = place.daemon.get("/api/alarms")
    if json:
        show.as_json(found)
        return 0
    for alarm in found:
        show.say(alarm_text(alarm, place.settings.site.zone))
    if not found:
        show.say("No alarm stands.")
    return 0


def ack(
    which: Which = None,
    everything: All = False,
    by: By = "",
    config: Config = None,
) -> int:
    """Say "I have seen it": it rings no more, unless it gets worse."""
    names = list(which or []) + (["--all"] if everything else [])
    if not names:
        raise UsageError("Say what you have seen: an alarm, a notice or a house, or --all.")
    return _told(config, "ack", {"alarms": names, "by": by}, "Seen")


def shelve(alarm: AlarmName, for_: For, by: By = "", config: Config = None) -> int:
    """Make an alarm quiet for a while, twelve hours at most; never one of high priority."""
    for_s = seconds(for_, "--for")
    if for_s > LONGEST_SHELF_S:
        raise UsageError("An alarm can be quiet for twelve hours at most.", "Write --for 12h or less.")
    return _told(config, "shelve", {"alarms": [alarm], "for_s": for_s, "by": by}, f"Quiet for {for_}")


def resume(alarm: AlarmName, by: By = "", config: Config = None) -> int:
    """Let a quiet alarm ring again."""
    return _told(config, "resume", {"alarms": [alarm], "by": by}, "Rings again")


def _told(config: Config, name: str, body: dict[str, object], word: str) -> int:
    done = Place(config).daemon.post(f"/api/alarms/{name}", body)["value"]
    for alarm in done:
        show.say(f"{word}: {alarm}")
    if not done:
        show.say("There was nothing to do.")
    return 0


def seconds(text: str, option: str) -> float:
    """`90s`, `30min`, `2h`, `1d` in seconds; UsageError for anything else."""
    match = _DURATION.match(text)
    value_s = float(match[1]) * _UNITS_S[match[2]] if match else 0.0
    if value_s <= 0:
        raise UsageError(f"{option} {text!r} is not a length of time.", "Write it like 30min or 2h.")
    return value_s


# ---- sensors -------------------------------------------------------------------------------------------


def rest(sensor: SensorId, for_: For, by: By = "", config: Config = None) -> int:
    """Take a sensor out of service: it raises no alarm until then."""
    return _rest(config, sensor, seconds(for_, "--for"), by, f"{sensor} is at rest until")


def wake(sensor: SensorId, by: By = "", config: Config = None) -> int:
    """The sensor is back in service."""
    return _rest(config, sensor, 0.0, by, f"{sensor} is back since")


def _rest(config: Config, sensor: str, for_s: float, by: str, said: str) -> int:
    place = Place(config)
    now_s = clock.wall_s()
    if not clock.is_trusted(now_s):
        raise UsageError("This computer's clock cannot be right, so no time can be meant.", "Set the clock.")
    until_s = now_s + for_s
    values = {"kind": "rest", "at": rfc3339(now_s), "sensor": sensor, "until": rfc3339(until_s)}
    values |= {"by": by} if by else {}
    taken = place.enter([values])
    show.say(f"{said} {place.speech.day_time(until_s)}.")
    for remark in taken["remarks"]:
        show.say(remark)
    return 0
