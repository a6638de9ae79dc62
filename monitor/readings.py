"""From a message to readings: decode, flag, decide what each may do, keep it.

Design rules in one place: a reading without a time of its own takes its arrival; older than the sensor's
lateness is history; more than five minutes ahead fails; retained may raise but never clears, and without a
time of its own is only shown. Bad payloads are counted, never fatal. It knows no limits and no alarms.
"""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Any

from monitor import plugins
from monitor.errors import PayloadError
from monitor.history import History
from monitor.model import Flag, Message, Quantity, Reading, Sample, Use
from monitor.payloads import topic_decoders
from monitor.quality import Judge
from monitor.service_lows import ServiceLows
from monitor.settings import Sensor, Settings

AHEAD_S = 300.0
# Bound once: looking a member up in its class costs as much as a comparison, for every reading.
_FAIL = Flag.FAIL


@dataclass(slots=True)
class Counts:
    """What came in and could not be used, since the last report."""

    bad_payloads: dict[str, int] = field(default_factory=dict)
    last_reason: dict[str, str] = field(default_factory=dict)
    duplicates: int = 0
    future: int = 0
    late: int = 0
    news: bool = False
    """Whether anything was counted that is not kept yet."""

    def as_json(self) -> dict[str, Any]:
        """Plain values for a row."""
        return {
            "bad_payloads": dict(self.bad_payloads),
            "last_reason": dict(self.last_reason),
            "duplicates": self.duplicates,
            "future": self.future,
            "late": self.late,
        }

    def bad(self, topic: str, reason: str) -> None:
        """One more payload that could not be read."""
        self.bad_payloads[topic] = self.bad_payloads.get(topic, 0) + 1
        self.last_reason[topic] = reason
        self.news = True


class Readings:
    """Decoders, judges and history of all sensors."""

    def __init__(self, settings: Settings, resting: AbstractSet[str] = frozenset()) -> None:
        """`resting` are the sensors out of service now: what they say is shown, and nothing more."""
        self._sensors = settings.sensors
        self._resting = resting
        self._decoders = topic_decoders(settings.sensors)
        self._late_after_s = {name: sensor.late_after_s for name, sensor in settings.sensors.items()}
        self._lives_by = {name: _lives_by(sensor) for name, sensor in settings.sensors.items()}
        self._judges = {name: Judge(sensor) for name, sensor in settings.sensors.items()}
        self.history = History(settings.sensors)
        self.service_lows = ServiceLows(settings.houses)
        self.counts = Counts()
        self.shown: dict[tuple[str, Quantity], Reading] = {}
        self.fresh_at_s: dict[str, float] = {}
        """When each sensor last gave a present reading that did not fail, of the quantity it lives by."""

    @property
    def topics(self) -> tuple[str, ...]:
        """Topics to subscribe to."""
        return tuple(dict.fromkeys((*self._decoders, *self.service_lows.topics)))

    def load(self, readings: Mapping[tuple[str, Quantity], tuple[Any, Any, Any]]) -> None:
        """Take over saved readings in bulk."""
        known = {key: arrays for key, arrays in readings.items() if key[0] in self._sensors}
        self.history.load(known)
        for (sensor, quantity), (at_s, values, flags) in known.items():
            self._judges[sensor].prime(quantity, at_s, values, flags)
            if len(at_s) and quantity is self._lives_by[sensor]:
                self.fresh_at_s[sensor] = max(self.fresh_at_s.get(sensor, 0.0), float(at_s[-1]))

    def take(self, message: Message, offset_s: float) -> list[Reading]:
        """The readings of one message that are new; `offset_s` is wall time minus guard time."""
        decoder = self._decoders.get(message.topic)
        if decoder is None:
            self.service_lows.take(message)
            return []
        try:
            samples = decoder.decode(message.payload, None if message.retain else message.at_s + offset_s)
        except PayloadError as error:
            self.counts.bad(message.topic, error.message)
            return []
        except Exception as error:  # noqa: BLE001 - the plug-in boundary
            plugins.note(f"what reads {message.topic}", "fails", error)
            self.counts.bad(message.topic, f"its reader fails: {type(error).__name__}")
            return []
        if self._resting:
            samples = self._in_service(samples, message.at_s)
        if message.retain:
            return [found for sample in samples if (found := self._retained(sample, message.at_s, offset_s))]
        return self._live(samples, message.at_s, offset_s)

    def _in_service(self, samples: list[Sample], now_s: float) -> list[Sample]:
        """What sensors at rest say is shown; the others' samples go on."""
        for sample in samples:
            if sample.sensor in self._resting:
                self._show(sample, now_s, Flag.NOT_EVALUATED)
        return [sample for sample in samples if sample.sensor not in self._resting]

    def _live(self, samples: list[Sample], now_s: float, offset_s: float) -> list[Reading]:
        """Readings of a message that came as it was sent."""
        found: list[Reading] = []
        for sample in samples:
            sensor, quantity, value, own_at_s = sample
            at_s = now_s if own_at_s is None else own_at_s - offset_s
            if -AHEAD_S <= now_s - at_s <= self._late_after_s[sensor]:
                flag = self._judges[sensor].flag(quantity, value, at_s)
                reading = Reading(sensor, quantity, value, at_s, now_s, flag)
                if self.history.append(reading):
                    found.append(reading)
                    if quantity is self._lives_by[sensor] and flag is not _FAIL:
                        self.fresh_at_s[sensor] = now_s
                else:
                    self.counts.duplicates += 1
                    self.counts.news = True
            elif at_s > now_s:
                self._ahead(sample, now_s)
            else:
                self.counts.late += 1
                self.counts.news = True
                found.extend(self._kept(sample, at_s, now_s, Use.HISTORY))
        return found

    def _retained(self, sample: Sample, now_s: float, offset_s: float) -> Reading | None:
        """A reading of a replayed message: only one with a sane time of its own is kept, and never clears."""
        if sample.observed_at_s is None:
            self._show(sample, now_s, Flag.NOT_EVALUATED)
            return None
        at_s = sample.observed_at_s - offset_s
        if now_s - at_s < -AHEAD_S:
            self._ahead(sample, now_s)
            return None
        late = now_s - at_s > self._late_after_s[sample.sensor]
        kept = self._kept(sample, at_s, now_s, Use.HISTORY if late else Use.RAISES)
        return kept[0] if kept else None

    def _kept(self, sample: Sample, at_s: float, now_s: float, use: Use) -> list[Reading]:
        """A reading that is not a present one, judged by itself; nothing when it is known already."""
        flag = self._judges[sample.sensor].flag_late(sample.quantity, sample.value)
        reading = Reading(sample.sensor, sample.quantity, sample.value, at_s, now_s, flag, use)
        if self.history.append(reading):
            return [reading]
        self.counts.duplicates += 1
        self.counts.news = True
        return []

    def _ahead(self, sample: Sample, now_s: float) -> None:
        self.counts.future += 1
        self.counts.news = True
        self._show(sample, now_s, Flag.FAIL)

    def _show(self, sample: Sample, now_s: float, flag: Flag) -> None:
        """Of unknown age, or from the future: shown, never counted, never kept."""
        reading = Reading(sample.sensor, sample.quantity, sample.value, now_s, now_s, flag, Use.SHOWN)
        self.shown[(sample.sensor, sample.quantity)] = reading


def _lives_by(sensor: Sensor) -> Quantity:
    """What a sensor must report not to be silent: its temperature, unless it is set to give humidity only.

    A sensor whose humidity arrives while its temperature does not would leave its trees unwatched.
    """
    only_humidity = sensor.quantity is Quantity.RELATIVE_HUMIDITY_PCT or (
        sensor.relative_humidity_pct is not None and sensor.temperature_c is None
    )
    return Quantity.RELATIVE_HUMIDITY_PCT if only_humidity else Quantity.TEMPERATURE_C
