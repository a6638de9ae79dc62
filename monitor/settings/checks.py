"""What must agree in the settings: references, contradictions, things that exclude each other.

It looks at the tables as they were read, so that it finds its problems even where the validator found others;
a value of the wrong type is the validator's business and is passed over here.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from monitor.nearest import nearest
from monitor.settings.words import Found

WITH_A_NUMBER = (
    "low-temperature",
    "frozen-root-ball",
    "high-temperature",
    "dry-air",
    "battery-low",
)
"""Kinds of alarm that hold a number against a limit and are over beyond it by a deadband."""

WITHOUT_A_NUMBER = (
    "cooling-fast",
    "frost-tonight",
    "vents-open",
    "heater-not-holding",
    "wrap-freezing",
    "winter-desiccation",
    "sun-ahead",
    "warm-spell",
    "wrap-drying",
    "wrap-unknown",
    "wet-too-long",
    "sensor-silent",
    "sensor-doubtful",
    "unwatched",
    "was-off",
    "broker-lost",
    "storage-failing",
    "delivery-failing",
    "clock-doubtful",
    "restarting",
)

_SEPARATORS = ":/.-_"


def disagreements(tables: Mapping[str, Any]) -> Iterator[Found]:
    """Everything in the tables that does not agree."""
    sensors, houses = table_of(tables, "sensors"), table_of(tables, "houses")
    notifiers, people = table_of(tables, "notifiers"), table_of(tables, "people")
    for name in ("sensors", "notifiers"):
        if name in tables and not tables[name]:
            yield (name,), "there is none.", f"Add at least one [{name}.…]."
    yield from _sensors(sensors, houses)
    yield from _topics(sensors)
    yield from _houses(houses, sensors)
    yield from _people(people, notifiers)
    yield from _calls(tables.get("calls"), (*people, *notifiers))
    yield from _alarms(table_of(tables, "alarms"))
    yield from _broker(table_of(tables, "broker"))
    yield from _pairs(("web",), table_of(tables, "web"), "tls_cert_file", "tls_key_file")
    quiet = table_of(tables, "quiet_hours")
    if quiet and quiet.get("from") == quiet.get("to"):
        yield (
            ("quiet_hours", "to"),
            "quiet hours begin and end at the same time.",
            "Leave [quiet_hours] out for none.",
        )


def table_of(tables: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """The table of that name, empty where it is missing or no table."""
    table = tables.get(name)
    return table if isinstance(table, Mapping) else {}


def tables_in(table: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The members of a table that are tables themselves."""
    return ((name, each) for name, each in table.items() if isinstance(each, Mapping))


def _sensors(sensors: Mapping[str, Any], houses: Mapping[str, Any]) -> Iterator[Found]:
    for name, sensor in tables_in(sensors):
        here = ("sensors", name)
        house = sensor.get("house")
        if isinstance(house, str) and house not in houses:
            yield (
                (*here, "house"),
                f'there is no house "{house}".',
                nearest(house, houses, f"Add [houses.{house}]."),
            )
        if sensor.get("payload") == "plain" and "quantity" not in sensor:
            message = "a plain payload is a bare number, so its quantity must be named."
            yield (*here, "quantity"), message, 'Write for example quantity = "temperature_c".'
        gap_s, every_s = _number(sensor.get("longest_gap_s")), _number(sensor.get("every_s", 60))
        if gap_s is not None and every_s is not None and gap_s < every_s:
            message = f"{gap_s:g} s is shorter than every_s ({every_s:g} s)."
            yield (
                (*here, "longest_gap_s"),
                message,
                "Write how long the sensor may say nothing when nothing changes.",
            )


def _topics(sensors: Mapping[str, Any]) -> Iterator[Found]:
    """Sensors that share a topic must differ in what they take from its payload."""
    taken: dict[str, list[tuple[str, Mapping[str, Any]]]] = {}
    for name, sensor in tables_in(sensors):
        topic = sensor.get("topic")
        if not isinstance(topic, str):
            continue
        others = taken.setdefault(topic, [])
        other = next((other for other, values in others if _same_part(values, sensor)), None)
        if other is not None:
            message = f'sensor "{other}" takes the same values from the same topic.'
            hint = "Give each its own topic, or its own name (senml) or pointers (json)."
            yield ("sensors", name, "topic"), message, hint
        others.append((name, sensor))


def _same_part(one: Mapping[str, Any], two: Mapping[str, Any]) -> bool:
    kinds = {one.get("payload", "senml"), two.get("payload", "senml")}
    if "plain" in kinds:
        return True
    if kinds == {"senml"}:
        names = [values.get("name") for values in (one, two)]
        return None in names or len({str(name).rstrip(_SEPARATORS) for name in names}) == 1
    if kinds == {"json"}:
        keys = ("temperature_c", "relative_humidity_pct")
        return any(one.get(key) is not None and one.get(key) == two.get(key) for key in keys)
    return False


def _houses(houses: Mapping[str, Any], sensors: Mapping[str, Any]) -> Iterator[Found]:
    for name, house in tables_in(houses):
        outdoor = house.get("outdoor")
        if not isinstance(outdoor, str):
            continue
        path = ("houses", name, "outdoor")
        if outdoor not in sensors:
            yield (
                path,
                f'there is no sensor "{outdoor}".',
                nearest(outdoor, sensors, f"Add [sensors.{outdoor}]."),
            )
        elif isinstance(sensors[outdoor], Mapping) and sensors[outdoor].get("place") != "outdoor":
            message = f'sensor "{outdoor}" does not hang outside.'
            yield path, message, f'Write place = "outdoor" under [sensors.{outdoor}], or name another sensor.'


def _people(people: Mapping[str, Any], notifiers: Mapping[str, Any]) -> Iterator[Found]:
    for name, person in tables_in(people):
        if name in notifiers:
            message = f'"{name}" is the id of a notifier too.'
            yield ("people", name), message, "Give one of them another id."
        yield from _known(("people", name, "notifiers"), person.get("notifiers"), notifiers, "notifier")


def _calls(calls: Any, known: Sequence[str]) -> Iterator[Found]:
    if not isinstance(calls, list):
        return
    for number, call in enumerate(calls):
        if not isinstance(call, Mapping):
            continue
        here = ("calls", number)
        yield from _known((*here, "who"), call.get("who"), known, "person or notifier")
        yield from _known((*here, "pass_on_to"), call.get("pass_on_to"), known, "person or notifier")
        if call.get("pass_on_to") and "pass_on_after_s" not in call:
            message = "pass_on_to needs a time to wait before it."
            yield (*here, "pass_on_after_s"), message, "Write for example pass_on_after_s = 600."


def _known(
    path: tuple[str | int, ...], words: Any, known: Sequence[str] | Mapping[str, Any], what: str
) -> Iterator[Found]:
    if not isinstance(words, list | tuple):
        return
    for number, word in enumerate(words):
        if isinstance(word, str) and word not in known:
            yield (*path, number), f'there is no {what} "{word}".', nearest(word, known)


def _alarms(alarms: Mapping[str, Any]) -> Iterator[Found]:
    for kind, values in alarms.items():
        if kind in WITHOUT_A_NUMBER:
            if isinstance(values, Mapping) and "deadband" in values:
                message = "this kind of alarm has no number, so it has no deadband."
                yield ("alarms", kind, "deadband"), message, "Remove this key."
        elif kind not in WITH_A_NUMBER:
            yield (
                ("alarms", kind),
                "there is no such kind of alarm.",
                nearest(kind, WITH_A_NUMBER + WITHOUT_A_NUMBER),
            )


def _broker(broker: Mapping[str, Any]) -> Iterator[Found]:
    if "password_file" in broker and "username" not in broker:
        yield (
            ("broker", "username"),
            "a password needs a user name with it.",
            'Write for example username = "aftercare".',
        )
    if "key_file" in broker and "cert_file" not in broker:
        yield ("broker", "cert_file"), "key_file needs cert_file with it.", "Name both, or neither."
    for key in ("ca_file", "cert_file", "key_file"):
        if key in broker and not broker.get("tls"):
            yield (
                ("broker", key),
                "without tls = true this has no effect.",
                "Write tls = true, or remove this key.",
            )


def _pairs(path: tuple[str, ...], table: Mapping[str, Any], one: str, two: str) -> Iterator[Found]:
    for present, absent in ((one, two), (two, one)):
        if present in table and absent not in table:
            yield (*path, absent), f"{present} needs {absent} with it.", "Name both, or neither."


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
