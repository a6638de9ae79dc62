"""A made winter under guard: the engine is fed what the sensors report, and everything it says is kept."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from monitor.engine import Engine
from monitor.model import Effects, Entry, Message, Notice, Saved, Started, Transition
from monitor.replay import entry_events
from monitor.settings import Settings
from monitor.trees.plans import load_plans
from tests.winters.house import Faults, MadeWinter, humidity_inside, made_nights, sensed
from tests.winters.weather import BEGINS_AT_S, LATITUDE_DEG, LONGITUDE_DEG, ZONE

WARN_ABOVE_HARM_K = 1.5
SERVICE_TOPIC = "weather/low"


@dataclass
class Heard:
    """What the guard said over a winter."""

    winter: MadeWinter
    harm_c: float
    transitions: list[Transition] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    forecasts: list[Mapping[str, Any]] = field(default_factory=list)
    engine: Engine | None = None


def settings_of(setpoint_c: float | None, outdoor: bool, every_s: float, service: bool = False) -> Settings:
    """One house with a bench, perhaps a sensor outside, a heater, a weather service."""
    house: dict[str, Any] = {"name": "Cold house"}
    if service:
        house["forecast_topic"] = SERVICE_TOPIC
    if outdoor:
        house["outdoor"] = "yard"
    if setpoint_c is not None:
        house["heater_setpoint_c"] = setpoint_c
    sensor = {"house": "cold", "payload": "json", "temperature_c": "/t", "relative_humidity_pct": "/rh"}
    sensors = {"bench-a": sensor | {"place": "bench", "topic": "w/a", "every_s": every_s}}
    if outdoor:
        sensors["yard"] = sensor | {"place": "outdoor", "topic": "w/y", "every_s": every_s}
    return Settings.model_validate(
        {
            "site": {
                "name": "Heather Bank",
                "timezone": ZONE,
                "latitude_deg": LATITUDE_DEG,
                "longitude_deg": LONGITUDE_DEG,
            },
            "houses": {"cold": house},
            "sensors": sensors,
            "notifiers": {"log": {"type": "journal"}},
            "people": {"ann": {"reach_s": 1800, "notifiers": ["log"]}},
            "calls": [{"tell": ["high", "medium", "low"], "who": ["ann"]}],
        }
    )


def entries_of(harm_c: float) -> list[dict[str, Any]]:
    """One tree with limits of its own, so that no stage moves them."""
    at = "2027-10-01T10:00:00Z"
    tree: dict[str, Any] = {
        "at": at,
        "kind": "tree",
        "tree": "larch-3",
        "name": "Larch 3",
        "sensor": "bench-a",
    }
    limits = {"low_harm_c": harm_c, "low_warn_c": harm_c + WARN_ABOVE_HARM_K, "high_warn_c": 24.0}
    own = {"at": at, "kind": "limit", "tree": "larch-3", "reason": "to test"}
    return [tree, *(own | {"limit": key, "value": value} for key, value in limits.items())]


def guard(
    winter: MadeWinter,
    harm_c: float,
    seed: int,
    *,
    setpoint_c: float | None = None,
    outdoor: bool = True,
    faults: Faults | None = None,
    service_error_k: float | None = None,
) -> Heard:
    """Run the engine through the winter; nobody answers. `service_error_k`: of a weather service's lows."""
    engine = Engine(settings_of(setpoint_c, outdoor, 300.0, service_error_k is not None), load_plans(None))
    heard = Heard(winter, harm_c, engine=engine)
    engine.load(Saved(), [])
    _keep(heard, engine.handle(Started(BEGINS_AT_S)))
    for values in entry_events(engine.book.house_of, entries_of(harm_c)):
        _keep(heard, engine.handle(Entry(BEGINS_AT_S, values.values)))
    told = _service(winter, seed, service_error_k)
    for at_s, inside, outside, humid in sensed(winter, seed, faults=faults):
        while told and told[0][0] <= at_s:
            said_s, low_c = told.pop(0)
            _keep(heard, engine.handle(Message(said_s, SERVICE_TOPIC, f"{low_c:.1f}".encode())))
        if inside is not None:
            damp = round(humidity_inside(inside, outside, humid)) if abs(inside) < 60 else 50
            body = json.dumps({"t": inside, "rh": damp}).encode()
            _keep(heard, engine.handle(Message(at_s, "w/a", body)))
        if outdoor:
            body = json.dumps({"t": outside, "rh": humid}).encode()
            _keep(heard, engine.handle(Message(at_s + 1.0, "w/y", body)))
    return heard


def _service(winter: MadeWinter, seed: int, error_k: float | None) -> list[tuple[float, float]]:
    """What a weather service says two hours before each evening: instant, low outside with its error [°C]."""
    if error_k is None:
        return []
    chance = np.random.default_rng(seed + 3000)
    nights = made_nights(winter, winter.weather.air_c)
    return [
        (float(winter.at_s[night.evening - 120]), night.low_c + float(chance.normal(0.0, error_k)))
        for night in nights
    ]


def _keep(heard: Heard, effects: Effects) -> None:
    heard.transitions += effects.transitions
    heard.notices += effects.notices
    heard.forecasts += effects.forecasts
