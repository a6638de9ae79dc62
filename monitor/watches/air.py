"""Drying air: the drying power at a tree's sensor beyond `vpd_warn_kpa` for the hold time."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.model import Assessment, Flag, HourRow, Priority, Quantity, Row
from monitor.notices import air_words
from monitor.notices.words import Reason
from monitor.science.psychrometrics import vapour_pressure_deficit
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.hold import Hold

KIND = "dry-air"
DEADBAND_KPA = 0.1


class DryAirWatch:
    """One look every five minutes at each sensor that a tree with such a limit stands at."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._hold = Hold()
        own = ground.settings.alarms.get(KIND)
        self._deadband_kpa = ground.deadband(KIND, DEADBAND_KPA)
        self._hold_s = ground.plans.defaults.vpd_hold_h * 3600.0
        if own is not None and own.on_delay_s is not None:
            self._hold_s = own.on_delay_s
        self._kept: dict[str, float] = {}

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over since when it has been dry."""
        self._kept = dict(learned.get(KIND, {}))
        self._hold = Hold.from_json(self._kept)

    def look(self, now_s: float) -> Iterable[Assessment]:
        """What each tree's air does to it."""
        found = []
        known: dict[str, float | None] = {}
        for guarded in self._ground.guarding.trees.values():
            limit = guarded.limits.get("vpd_warn_kpa")
            sensor = guarded.tree.sensor
            if limit is None or sensor is None:
                continue
            if sensor not in known:
                known[sensor] = self.vpd_kpa(sensor, now_s)
            vpd_kpa = known[sensor]
            if vpd_kpa is not None and vpd_kpa < limit and not self._is_watched(guarded.tree.id):
                continue
            found.append(
                self._hold.judge(
                    KIND,
                    guarded.tree.id,
                    now_s,
                    None if vpd_kpa is None else vpd_kpa >= limit,
                    self._hold_s,
                    Priority.MEDIUM,
                    value=None if vpd_kpa is None else round(vpd_kpa, 3),
                    limit=limit,
                    over=vpd_kpa is not None and vpd_kpa < limit - self._deadband_kpa,
                )
            )
        return found

    def _is_watched(self, tree: str) -> bool:
        """Whether something stands, or has begun, that a finding that all is well would end."""
        begun = (KIND, tree) in self._hold.since_s
        return begun or self._ground.board.by_name(f"{KIND}/{tree}") is not None

    def vpd_kpa(self, sensor: str, now_s: float) -> float | None:
        """The drying power of the air at a sensor now; None unless both readings are present and good."""
        surroundings = self._ground.surroundings
        if sensor not in self._ground.settings.sensors or not surroundings.is_fresh(sensor, now_s):
            return None
        temperature = surroundings.latest(sensor)
        humidity = surroundings.latest(sensor, Quantity.RELATIVE_HUMIDITY_PCT)
        if temperature is None or humidity is None or max(temperature.flag, humidity.flag) >= Flag.SUSPECT:
            return None
        if abs(humidity.observed_at_s - temperature.observed_at_s) > 900.0:
            return None
        return float(vapour_pressure_deficit(temperature.value, min(humidity.value, 100.0)))

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """Nothing by the hour."""
        del now_s, hours
        return ()

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """New limits are met at the next look."""
        del now_s
        return ()

    def reason(self, kind: str, subject: str) -> Reason:
        """Cause, consequence, action."""
        del kind
        guarded = self._ground.guarding.trees.get(subject)
        name = guarded.tree.name if guarded is not None else subject
        return air_words.dry_air(name, guarded.why if guarded is not None else "")

    def take(self) -> Found:
        """Since when it has been dry, when that changed."""
        return Found(rows=self.rows()) if self._hold.as_json() != self._kept else NOTHING_FOUND

    def rows(self) -> tuple[Row, ...]:
        """The one row of this watch."""
        self._kept = self._hold.as_json()
        return (Row("learned", KIND, dict(self._kept)),)

    def facts(self) -> Mapping[str, Any]:
        """Nothing that the alarms do not say."""
        return {}
