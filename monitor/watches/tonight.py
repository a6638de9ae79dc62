"""Is tonight dangerous? From the evening on, hour by hour: the coming low, and the chance for each tree.

Rises at the cost/loss line: covering trees in vain costs little beside losing one. What was said is scored in
the morning against what came. One notice an evening: the alarm rises once, and again only when danger has
become likely.
"""

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final

from monitor.clock import rfc3339
from monitor.guarding import GuardedTree
from monitor.model import Assessment, Judgement, Place, Priority, Row
from monitor.notices import night_words
from monitor.notices.night_words import HeaterText, LowText, TreeRisk
from monitor.notices.words import Reason
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.ahead import Ahead, Tonight
from monitor.watches.evening import HOUR_S, Air, Nights
from monitor.watches.learnt import Learning, usual_fall_c
from monitor.watches.plain import PlainWatch, over, unknown
from monitor.watches.scores import Said, said_of, summary

KIND: Final = "frost-tonight"
LEARNED: Final = "tonight"
OVERTAKEN_K: Final = 0.3
"""Air so much below the middle of what was foreseen: the night is foreseen anew before the hour is out."""
COST_OVER_LOSS: Final = 0.15
"""An evening's covering over a tree's harm; judgement."""
LATE_LINE: Final = 0.3
"""What was not said in the evening must be more likely to be said by night."""
LIKELY: Final = 0.6
"""Danger has become likely: high."""
OVER_BELOW: Final = 0.07
LATE_AFTER_H: Final = 7.5
"""Hours after the evening, about two in the morning, at which a forecast is scored once more."""
SUN_ABOVE_C: Final = 10.0
REFREEZE_BELOW_C: Final = -3.0
OTHER_FROST: Final = ("low-temperature", "cooling-fast", "heater-not-holding")
BENT: Final = ("moderate-bend", "heavy-bend")


class TonightWatch(PlainWatch):
    """The evening's forecast of every place, its alarm, its stream and its scores."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, nights: Nights, air: Air, learning: Learning, ahead: Ahead) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._learning = learning
        self._ahead = ahead
        self._said: dict[str, Said] = {}
        self._views: dict[str, Tonight] = {}
        self._night = ""
        self._issued_s = -math.inf
        self._lines: list[Mapping[str, Any]] = []
        self._is_changed = False
        self._service: dict[str, tuple[float, float]] = {}

    # ---- memory --------------------------------------------------------------------------------------------

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over what was learnt and what was said of this night."""
        self._learning.load(learned)
        state = learned.get(LEARNED, {})
        self._said = said_of(state.get("said", {}))
        self._night = state.get("night", "")
        self._issued_s = state.get("issued_s", -math.inf)
        self._service = {house: (at_s, low_c) for house, (at_s, low_c) in state.get("service", {}).items()}
        self._ground.service_lows.lows.update(self._service)

    def rows(self) -> tuple[Row, ...]:
        """What was said, and everything that was learnt."""
        return (self._row(), *self._learning.rows())

    def _row(self) -> Row:
        said = {sensor: said.as_list() for sensor, said in self._said.items()}
        state = {
            "said": said,
            "night": self._night,
            "issued_s": self._issued_s if math.isfinite(self._issued_s) else None,
            "service": {house: list(low) for house, low in self._service.items()},
        }
        return Row("learned", LEARNED, {key: value for key, value in state.items() if value})

    def take(self) -> Found:
        """Forecasts and changed rows."""
        if not (self._lines or self._is_changed or self._learning.is_changed):
            return NOTHING_FOUND
        rows = (*((self._row(),) if self._is_changed else ()), *self._learning.take())
        found = Found(forecasts=tuple(self._lines), rows=rows)
        self._lines.clear()
        self._is_changed = False
        return found

    # ---- looking -------------------------------------------------------------------------------------------

    def look(self, now_s: float) -> Iterable[Assessment]:
        """At the evening and every hour after it; in the morning what was said is scored."""
        if self._ground.service_lows.lows != self._service:
            self._service, self._is_changed = dict(self._ground.service_lows.lows), True
        night = self._nights.of(now_s)
        if not night.evening_s <= now_s < night.ends_s:
            return self._by_day(now_s)
        if night.date != self._night:
            self._learning.morning(now_s, self._said)
            self._night, self._issued_s, self._said = night.date, -math.inf, {}
        last = math.floor((now_s - night.evening_s) / HOUR_S) * HOUR_S + night.evening_s
        if self._issued_s >= last:
            if not self._views or self._is_overtaken():
                self._foresee(now_s)
            return ()
        self._issued_s = now_s
        self._is_changed = True
        self._foresee(now_s)
        for sensor, view in self._views.items():
            self._say(sensor, view, now_s)
        return [self._assess(house, now_s) for house in self._ground.settings.houses]

    def _by_day(self, now_s: float) -> list[Assessment]:
        self._views.clear()
        if self._learning.morning(now_s, self._said):
            self._said, self._night, self._is_changed = {}, "", True
        rows = (self._ground.board.by_name(f"{KIND}/{house}") for house in self._ground.settings.houses)
        return [over(KIND, row.subject, now_s) for row in rows if row is not None and row.active]

    def _is_overtaken(self) -> bool:
        """Whether it is colder somewhere than was foreseen at all: what is shown must not say less."""
        latest = {sensor: self._ground.surroundings.latest(sensor) for sensor in self._views}
        return any(
            reading is not None and reading.value < self._views[sensor].low_c.p50 - OVERTAKEN_K
            for sensor, reading in latest.items()
        )

    def _foresee(self, now_s: float) -> None:
        self._views = {
            sensor: view
            for sensor in self._learning.sensors
            if (view := self._ahead.tonight(sensor, now_s)) is not None
        }

    def _say(self, sensor: str, view: Tonight, now_s: float) -> None:
        """A line of the stream; the first of the night, and the one of the small hours, will be scored."""
        chances = self._chances(sensor, view)
        label_s = self._ground.label_s
        self._lines.append(
            {
                "issued_at": rfc3339(label_s(now_s)),
                "night": view.night.date,
                "sensor": sensor,
                "method": view.method,
                "nights_learned": view.nights_learned,
                "low_c": _quantiles(view),
                "low_at": rfc3339(round(label_s(view.low_at_s))),
                "below": _below(chances),
            }
        )
        known = self._said.get(sensor)
        if known is None:
            memory = self._learning.of(sensor).memory
            evening_c = view.evening.temperature_c
            last_c = memory.nights[-1].low_c if memory.nights else math.nan
            self._said[sensor] = Said(
                view.night.date,
                view.method,
                view.low_c.p10,
                view.low_c.p50,
                view.low_c.p90,
                evening_c,
                last_c,
                usual_fall_c(memory.nights, evening_c),
                view.evening.service_low_c,
                math.nan,
                chances,
            )
        elif math.isnan(known.late_c) and view.night.after_h(now_s) >= LATE_AFTER_H:
            self._said[sensor] = known._replace(late_c=view.low_c.p50)

    def _chances(self, sensor: str, view: Tonight) -> tuple[tuple[float, float], ...]:
        """The chance to cross each limit in force there; outside: freezing."""
        if self._ground.settings.sensors[sensor].place is not Place.BENCH:
            return ((0.0, view.low_c.chance_below(0.0)),)
        limits = {
            guarded.limits[key]
            for guarded in self._ground.guarding.at_sensor(sensor)
            for key in ("low_warn_c", "low_harm_c")
            if key in guarded.limits
        }
        return tuple((limit, view.low_c.chance_below(limit)) for limit in sorted(limits, reverse=True))

    # ---- the alarm -----------------------------------------------------------------------------------------

    def _assess(self, house: str, now_s: float) -> Assessment:
        risks = [risk for _, risk in self._risks(house)]
        if not risks:
            return unknown(KIND, house, now_s)
        chance = max(risk.chance for risk in risks)
        row = self._ground.board.get(KIND, house)
        line = COST_OVER_LOSS if now_s < self._nights.of(now_s).evening_s + HOUR_S else LATE_LINE
        if chance < (OVER_BELOW if row.active else line):
            return over(KIND, house, now_s, round(chance, 3))
        priority = Priority.HIGH if chance >= LIKELY else Priority.MEDIUM
        if self._others_stand(house) and (not row.active or priority.rank > row.priority.rank):
            return unknown(KIND, house, now_s)
        return Assessment(
            KIND,
            house,
            now_s,
            Judgement.BREACH,
            priority,
            round(chance, 3),
            COST_OVER_LOSS,
            immediate=True,
        )

    def _others_stand(self, house: str) -> bool:
        """Whether the frost has begun and rings by itself."""
        subjects = {house, *(guarded.tree.id for guarded in self._ground.guarding.in_house(house))}
        return any(
            row.active and row.priority is not Priority.LOW and row.subject in subjects
            for row in self._ground.board
            if row.kind in OTHER_FROST
        )

    def _risks(self, house: str) -> list[tuple[GuardedTree, TreeRisk]]:
        """Each tree's chance tonight, in order of margin; trees whose place is not known are left out."""
        found = []
        for guarded in self._ground.guarding.in_house(house):
            harm_c = guarded.limits.get("low_harm_c")
            view = self._views.get(guarded.tree.sensor or "")
            if harm_c is not None and view is not None:
                chance = view.still_below(harm_c)
                found.append((view.low_c.p50 - harm_c, guarded, harm_c, chance))
        found.sort(key=lambda item: (item[0], item[1].tree.id))
        return [(g, TreeRisk(g.tree.name, harm_c, chance, g.why)) for _, g, harm_c, chance in found]

    def reason(self, kind: str, subject: str) -> Reason:
        """The trees at risk, the expected low, what was assumed of the heater, what to do before bed."""
        del kind
        speech = self._ground.speech()
        risks = self._risks(subject)
        at_risk = [(g, risk) for g, risk in risks if risk.chance >= OVER_BELOW] or risks[:1]
        if not at_risk:
            return Reason("tonight may be too cold", "how cold is not known now", night_words.WRAPS_LATER)
        worst = self._views[at_risk[0][0].tree.sensor or ""]
        sun = [guarded.tree.name for guarded, _ in at_risk if self._sun_then_frost(guarded, worst)]
        return night_words.frost_tonight(
            speech, low_text(worst), [risk for _, risk in at_risk], self._heater_text(worst), sun
        )

    def _heater_text(self, view: Tonight) -> HeaterText | None:
        if view.free is None:
            return None
        house = self._ground.settings.sensors[view.sensor].house
        heater = self._learning.heater(house)
        setpoint_c = self._learning.setpoint_c(house, view.night.evening_s)
        small = setpoint_c is not None and view.holds_c < setpoint_c + heater.holds_k - 0.5
        return HeaterText(view.holds_c, view.chance_holds, view.free.p50, heater.failed_lately, small)

    def _sun_then_frost(self, guarded: GuardedTree, view: Tonight) -> bool:
        """A fresh bend that stood in warmth by day and will freeze."""
        fresh = any(stage.stage == "fresh" and stage.work in BENT for stage in guarded.stages)
        if not fresh or view.low_c.p50 >= REFREEZE_BELOW_C:
            return False
        sunset_s = view.night.sunset_s
        _, values = self._air.samples(view.sensor, sunset_s - 9 * HOUR_S, sunset_s)
        return len(values) > 0 and float(values.max()) > SUN_ABOVE_C

    # ---- what others may see -------------------------------------------------------------------------------

    def facts(self) -> Mapping[str, Any]:
        """`tonight`: what is expected at each place; `skill`: how forecasts did, with their count."""
        return {
            "tonight": [self._fact(sensor, view) for sensor, view in self._views.items()],
            "skill": [
                {"sensor": sensor, **figures}
                for sensor in self._learning.sensors
                if (figures := summary(self._learning.of(sensor).scores))
            ],
        }

    def _fact(self, sensor: str, view: Tonight) -> dict[str, Any]:
        heater = self._heater_text(view)
        speech = self._ground.speech()
        return {
            "sensor": sensor,
            "night": view.night.date,
            "method": view.method,
            "nights_learned": view.nights_learned,
            "learning": view.method == "learning",
            "low_c": _quantiles(view),
            "low_at": rfc3339(round(self._ground.label_s(view.low_at_s))),
            "below": _below(self._chances(sensor, view)),
            "free_low_c": None if view.free is None else round(view.free.p50, 2),
            "heater_holds_c": None if view.free is None else round(view.holds_c, 2),
            "text": low_text(view).said(speech),
            "heater_text": night_words.heater_assumed(speech, heater),
        }


def low_text(view: Tonight) -> LowText:
    """A forecast for words."""
    low_c = view.low_c
    learning = view.method == "learning"
    return LowText(low_c.p10, low_c.p50, low_c.p90, view.low_at_s, view.nights_learned, learning)


def _quantiles(view: Tonight) -> dict[str, float]:
    low_c = view.low_c
    return {"p10": round(low_c.p10, 3), "p50": round(low_c.p50, 3), "p90": round(low_c.p90, 3)}


def _below(chances: tuple[tuple[float, float], ...]) -> list[dict[str, float]]:
    return [{"limit_c": limit, "chance": round(chance, 3)} for limit, chance in chances]
