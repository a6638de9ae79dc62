"""From a message to readings: decode, flag, decide what each may do, keep it.

Design rules in one place: a reading without a time of its own takes its arrival; older than the sensor's
lateness is history; more than five minutes ahead fails; retained may raise but never clears, and without a
time of its own is only shown. Bad payloads are counted, never fatal. It knows no limits and no alarms.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from monitor.errors import PayloadError
from monitor.history import History
from monitor.model import Flag, Message, Quantity, Reading, Sample, Use
from monitor.payloads import topic_decoders
from monitor.quality import Judge
from monitor.settings import Settings

AHEAD_S = 300.0


@dataclass(slots=True)
class Counts:
    """What came in and could not be used, since the last report."""

    bad_payloads: dict[str, int] = field(default_factory=dict)
    last_reason: dict[str, str] = field(default_factory=dict)
    duplicates: int = 0
    future: int = 0
    late: int = 0

    def bad(self, topic: str, reason: str) -> None:
        """One more payload that could not be read."""
        self.bad_payloads[topic] = self.bad_payloads.get(topic, 0) + 1
        self.last_reason[topic] = reason


class Readings:
    """Decoders, judges and history of all sensors."""

    def __init__(self, settings: Settings) -> None:
        self._sensors = settings.sensors
        self._decoders = topic_decoders(settings.sensors)
        self._judges = {name: Judge(sensor) for name, sensor in settings.sensors.items()}
        self.history = History(settings.sensors)
        self.counts = Counts()
        self.shown: dict[tuple[str, Quantity], Reading] = {}
        self.fresh_at_s: dict[str, float] = {}
        """When each sensor last gave a present reading that did not fail."""

    @property
    def topics(self) -> tuple[str, ...]:
        """Topics to subscribe to."""
        return tuple(self._decoders)

    def load(self, readings: Mapping[tuple[str, Quantity], tuple[Any, Any, Any]]) -> None:
        """Take over saved readings in bulk."""
        known = {key: arrays for key, arrays in readings.items() if key[0] in self._sensors}
        self.history.load(known)
        for (sensor, quantity), (at_s, values, flags) in known.items():
            self._judges[sensor].prime(quantity, at_s, values, flags)
            if len(at_s):
                self.fresh_at_s[sensor] = max(self.fresh_at_s.get(sensor, 0.0), float(at_s[-1]))

    def take(self, message: Message, offset_s: float) -> list[Reading]:
        """The readings of one message that are new; `offset_s` is wall time minus guard time."""
        decoder = self._decoders.get(message.topic)
        if decoder is None:
            return []
        try:
            samples = decoder.decode(message.payload, message.at_s + offset_s)
        except PayloadError as error:
            self.counts.bad(message.topic, error.message)
            return []
        return [reading for sample in samples if (reading := self._reading(sample, message, offset_s))]

    def _reading(self, sample: Sample, message: Message, offset_s: float) -> Reading | None:
        now_s = message.at_s
        observed_at_s = now_s if sample.observed_at_s is None else sample.observed_at_s - offset_s
        age_s = now_s - observed_at_s
        use = Use.PRESENT
        if message.retain:
            late = sample.observed_at_s is not None and age_s > self._sensors[sample.sensor].late_after_s
            use = Use.SHOWN if sample.observed_at_s is None else Use.HISTORY if late else Use.RAISES
        elif age_s > 0 and age_s > self._sensors[sample.sensor].late_after_s:
            use = Use.HISTORY
            self.counts.late += 1
        if age_s < -AHEAD_S:
            self.counts.future += 1
            self._show(sample, now_s, now_s, Flag.FAIL)
            return None
        if use is Use.SHOWN:
            self._show(sample, now_s, now_s, Flag.NOT_EVALUATED)
            return None
        judge = self._judges[sample.sensor]
        flag = (
            judge.flag(sample.quantity, sample.value, observed_at_s)
            if use is not Use.HISTORY
            else judge.flag_late(sample.quantity, sample.value)
        )
        reading = Reading(sample.sensor, sample.quantity, sample.value, observed_at_s, now_s, flag, use)
        if not self.history.append(reading):
            self.counts.duplicates += 1
            return None
        if use is Use.PRESENT and flag is not Flag.FAIL and sample.quantity is not Quantity.BATTERY_PCT:
            self.fresh_at_s[sample.sensor] = now_s
        return reading

    def _show(self, sample: Sample, at_s: float, now_s: float, flag: Flag) -> None:
        """Of unknown age, or from the future: shown, never counted, never kept."""
        reading = Reading(sample.sensor, sample.quantity, sample.value, at_s, now_s, flag, Use.SHOWN)
        self.shown[(sample.sensor, sample.quantity)] = reading
