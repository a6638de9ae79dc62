"""What others may see of the engine, as frozen values: the snapshot for page and status."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from monitor import plugins
from monitor.clock import rfc3339
from monitor.guarding import GuardedTree
from monitor.model import Flag, Quantity, Snapshot
from monitor.notices.words import listed

if TYPE_CHECKING:
    from monitor.alarms.lifecycle import AlarmRow
    from monitor.engine import Engine

RANG_AT_MOST = 20
RANG_LATELY_S = 3 * 86400.0
"""So long it is asked whether it was worth it."""
FLAG_WORDS: Mapping[Flag, str] = {
    Flag.GOOD: "good",
    Flag.NOT_EVALUATED: "good",
    Flag.SUSPECT: "suspect",
    Flag.FAIL: "failed",
    Flag.MISSING: "missing",
}


def build_snapshot(engine: "Engine") -> Snapshot:
    """Everything `status --json` and the page show; keys as they stand in the design of the formats."""
    settings = engine.settings
    watched = {key: value for watch in engine.watches for key, value in watch.facts().items()}
    return Snapshot(
        at_s=engine.scenes.label_s(engine.now_s),
        site=settings.site.name,
        guarding=True,
        houses=tuple(_house(engine, house) for house in settings.houses),
        trees=tuple(_tree(engine, guarded) for guarded in engine.guarding.trees.values()),
        wraps=tuple(watched.pop("wraps", ())),
        alarms=tuple(alarm_line(engine, row) for row in engine.board.standing()),
        unknown=tuple(unknowns(engine)),
        delivery=tuple(_delivery(engine, name) for name in settings.notifiers),
        more=watched | {"rang": tuple(_rang(engine))},
    )


def _house(engine: "Engine", house: str) -> dict[str, Any]:
    sensors = [name for name, sensor in engine.settings.sensors.items() if sensor.house == house]
    trend = engine.scenes.scene(house).falling_k_per_h
    return {
        "house": house,
        "name": engine.scenes.house_name(house),
        "falling_k_per_h": None if trend is None else round(trend, 2),
        "sensors": [_sensor(engine, name) for name in sensors],
    }


def _sensor(engine: "Engine", name: str) -> dict[str, Any]:
    temperature = engine.surroundings.latest(name)
    humidity = engine.surroundings.latest(name, Quantity.RELATIVE_HUMIDITY_PCT)
    latest = temperature or humidity
    age_s = None if latest is None else max(0.0, round(engine.now_s - latest.observed_at_s, 1))
    quality = "missing" if latest is None else FLAG_WORDS[latest.flag]
    if name in engine.silence.silent or (
        temperature and not engine.surroundings.is_fresh(name, engine.now_s)
    ):
        quality = "silent"
    if name in engine.resting.sensors:
        quality = "at-rest"
    return {
        "sensor": name,
        "place": str(engine.settings.sensors[name].place),
        "temperature_c": None if temperature is None else round(temperature.value, 2),
        "relative_humidity_pct": None if humidity is None else round(humidity.value, 1),
        "age_s": age_s,
        "quality": quality,
    }


def _tree(engine: "Engine", guarded: GuardedTree) -> dict[str, Any]:
    return {
        "tree": guarded.tree.id,
        "name": guarded.tree.name,
        "sensor": guarded.tree.sensor,
        "tender": guarded.is_tender,
        "works": [
            {"work": s.work, "stage": s.stage, "day": s.day, "because": s.because} for s in guarded.stages
        ],
        "limits": {
            key: {"value": limit.value, "source": limit.source} for key, limit in guarded.in_force.items()
        },
        "margin_k": _margin_k(engine, guarded),
    }


def _margin_k(engine: "Engine", guarded: GuardedTree) -> float | None:
    """How far the air is above the tree's damage limit now; None where that is not known."""
    sensor, harm_c = guarded.tree.sensor, guarded.limits.get("low_harm_c")
    if sensor is None or harm_c is None or sensor not in engine.settings.sensors:
        return None
    if not engine.surroundings.is_fresh(sensor, engine.now_s):
        return None
    reading = engine.surroundings.latest(sensor)
    return None if reading is None else round(reading.value - harm_c, 2)


def alarm_line(engine: "Engine", row: "AlarmRow") -> dict[str, Any]:
    """One alarm as `alarm list --json` gives it."""
    reason = engine.scenes.reason(row)
    since = row.since_at_s if row.since_at_s is not None else engine.now_s
    return {
        "alarm": row.alarm,
        "kind": row.kind,
        "subject": row.subject,
        "occurrence": row.occurrence,
        "state": str(row.state),
        "priority": str(row.priority),
        "since": rfc3339(engine.scenes.label_s(since)),
        "value": row.value,
        "limit": row.limit,
        "cause": reason.cause,
        "consequence": reason.consequence,
        "action": reason.action,
        "house": engine.scenes.house_of(row.kind, row.subject),
        "active": row.active,
        "seen_by": row.seen_by,
        "seen_at": _instant(engine, row.seen_at_s),
        "quiet_until": _instant(engine, row.shelved_until_s),
    }


def _rang(engine: "Engine") -> Iterator[dict[str, Any]]:
    """What rang lately and is over, the latest first; `worth` is null until somebody says."""
    for ring in reversed(engine.desk.rings.since(engine.now_s - RANG_LATELY_S)[-RANG_AT_MOST:]):
        yield {
            "episode": ring.episode,
            "what": ring.what,
            "place": ring.place,
            "priority": str(ring.priority),
            "from": _instant(engine, ring.began_at_s),
            "to": _instant(engine, ring.over_at_s),
            "worth": ring.is_worth,
            "by": ring.by,
        }


def _instant(engine: "Engine", at_s: float | None) -> str | None:
    return None if at_s is None else rfc3339(engine.scenes.label_s(at_s))


def unknowns(engine: "Engine") -> list[str]:
    """Everything that is not known now, a sentence each."""
    said = []
    speech = engine.scenes.speech
    if engine.silence.link_down_at_s is not None:
        said.append(f"no connection to the message post since {speech.time(engine.silence.link_down_at_s)}")
    for name in engine.settings.sensors:
        reading = engine.surroundings.latest(name) or engine.surroundings.latest(
            name, Quantity.RELATIVE_HUMIDITY_PCT
        )
        if name in engine.resting.sensors:
            said.append(_at_rest(engine, name))
        elif reading is None:
            said.append(f"nothing heard from sensor {name} yet")
        elif not engine.surroundings.is_fresh(name, engine.now_s) and engine.surroundings.latest(name):
            said.append(f"sensor {name} silent since {speech.time(reading.observed_at_s)}")
    return [*said, *other_unknowns(engine)]


def _at_rest(engine: "Engine", sensor: str) -> str:
    speech, until_s = engine.scenes.speech, engine.resting.until_s(sensor)
    names = [guarded.tree.name for guarded in engine.guarding.at_sensor(sensor)]
    until = f" until {speech.day_time(until_s)}" if until_s is not None else ""
    return f"sensor {sensor} is at rest{until}" + (f"; nobody watches {listed(names)}" if names else "")


def other_unknowns(engine: "Engine") -> list[str]:
    """What is not known beside silent sensors and a lost link, a sentence each."""
    said = [
        f"{guarded.tree.name} stands where no sensor is; nobody watches it"
        for guarded in engine.guarding.unwatched()
    ]
    for topic, count in engine.readings.counts.bad_payloads.items():
        reason = engine.readings.counts.last_reason.get(topic, "")
        said.append(f"{count} messages on {topic} could not be read ({reason})")
    said += [*engine.book.unreadable, *engine.notes, *plugins.faults()]
    if engine.store_trouble:
        said.append(f"what happens is not kept as it should be: {engine.store_trouble}")
    return said


def _delivery(engine: "Engine", notifier: str) -> dict[str, Any]:
    waiting = [at for (_, name), at in engine.deliveries.waiting.items() if name == notifier]
    return {
        "notifier": notifier,
        "pending": len(waiting),
        "oldest_s": None if not waiting else max(0.0, round(engine.now_s - min(waiting), 1)),
        "last_error": engine.deliveries.last_error.get(notifier),
    }
