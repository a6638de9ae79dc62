"""Have warm days cost hardiness? After two days of 10 °C on average frost limits rise for three nights.

Only limits below zero rise, by 2 K, by 3 K after longer or warmer spells, and never past zero; a person's own
limits stand. The alarm never rings: it is how page and report say why the limits moved.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, Final, NamedTuple

from monitor.clock import local
from monitor.guarding import GuardedTree
from monitor.model import Assessment, HourRow, Judgement, Priority, Row
from monitor.notices import night_words
from monitor.notices.words import Reason
from monitor.trees.in_force import Raised
from monitor.watch import Found, Ground
from monitor.watches.plain import PlainWatch, over

KIND: Final = "warm-spell"
LEARNED: Final = "warm-spell"
WARM_C: Final = 10.0
WARM_DAYS: Final = 2
WARMER_C: Final = 13.0
RAISED_K: Final = 2.0
RAISED_MORE_K: Final = 3.0
NIGHTS: Final = 3
FEWEST_HOURS: Final = 18
KEPT_DAYS: Final = 8


class Spell(NamedTuple):
    """A warm spell at one sensor: the last warm day, how many there were, their mean [°C]."""

    last_day: str
    days: int
    mean_c: float

    @property
    def raised_k(self) -> float:
        """How far limits rise."""
        return RAISED_MORE_K if self.days > WARM_DAYS or self.mean_c >= WARMER_C else RAISED_K


class WarmSpellWatch(PlainWatch):
    """The days of every sensor that a tree stands at."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._days: dict[str, dict[str, list[float]]] = {}
        """Sensor -> local date -> hours known, sum of their means."""
        self._is_changed = False
        self._now_s = 0.0
        ground.guarding.raises = self.raised

    # ---- memory --------------------------------------------------------------------------------------------

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the days that were seen."""
        days = learned.get(LEARNED, {}).get("days", {})
        self._days = {sensor: dict(known) for sensor, known in days.items()}

    def rows(self) -> tuple[Row, ...]:
        """The last days."""
        days = {sensor: dict(known) for sensor, known in self._days.items()}
        return (Row("learned", LEARNED, {"days": days}),)

    def take(self) -> Found:
        """The days, once an hour."""
        if not self._is_changed:
            return Found()
        self._is_changed = False
        return Found(rows=self.rows())

    # ---- days ----------------------------------------------------------------------------------------------

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """Add the hours that ended, and say which trees' limits are raised."""
        zone = self._ground.settings.site.zone
        for row in hours:
            if row.temperature_mean_c is None:
                continue
            day = local(self._ground.label_s(row.hour_at_s), zone).date().isoformat()
            known = self._days.setdefault(row.sensor, {})
            count, total = known.get(day, [0.0, 0.0])
            known[day] = [count + 1.0, round(total + row.temperature_mean_c, 3)]
            while len(known) > KEPT_DAYS:
                known.pop(min(known))
            self._is_changed = True
        before = self._spells_said()
        self._now_s = now_s
        found = self.look(now_s)
        if self._spells_said() != before:
            self._ground.guarding.refresh(self._ground.book(), now_s)
        return found

    def look(self, now_s: float) -> list[Assessment]:
        """Which trees' limits are raised now."""
        self._now_s = now_s
        found = []
        for guarded in self._ground.guarding.trees.values():
            tree = guarded.tree.id
            row = self._ground.board.by_name(f"{KIND}/{tree}")
            spell = self._spell(guarded.tree.sensor)
            if spell is not None and _is_raised(guarded):
                mean_c = round(spell.mean_c, 2)
                found.append(
                    Assessment(
                        KIND, tree, now_s, Judgement.BREACH, Priority.LOW, mean_c, WARM_C, immediate=True
                    )
                )
            elif row is not None and row.active:
                found.append(over(KIND, tree, now_s))
        return found

    def _spells_said(self) -> dict[str, Spell | None]:
        return {sensor: self._spell(sensor) for sensor in self._days}

    def _spell(self, sensor: str | None) -> Spell | None:
        """The warm spell whose three nights are not over yet."""
        known = self._days.get(sensor or "", {})
        today = local(self._ground.label_s(self._now_s), self._ground.settings.site.zone).date()
        for back in range(NIGHTS + 1):
            last = today - timedelta(days=back)
            warm = self._warm_days(known, last)
            if len(warm) >= WARM_DAYS and self._ends_s(last) > self._now_s:
                return Spell(last.isoformat(), len(warm), sum(warm) / len(warm))
        return None

    def _warm_days(self, known: Mapping[str, Sequence[float]], last: date) -> list[float]:
        """Means of the warm days in a row that end with a day that is over."""
        means: list[float] = []
        day = last
        while True:
            count, total = known.get(day.isoformat(), (0.0, 0.0))
            if count < FEWEST_HOURS or total / count < WARM_C:
                return means
            means.append(total / count)
            day -= timedelta(days=1)

    def _ends_s(self, last: date) -> float:
        """Noon after the third night that follows a day; guard time."""
        noon = datetime.combine(
            last + timedelta(days=NIGHTS), time(12), tzinfo=self._ground.settings.site.zone
        )
        return noon.timestamp() - self._ground.speech().offset_s

    def raised(self, sensor: str | None, now_s: float) -> Raised | None:
        """How far the limits of trees at a sensor are raised now; for `guarding`."""
        self._now_s = max(self._now_s, now_s)
        spell = self._spell(sensor)
        if spell is None:
            return None
        until = self._until(spell)
        return Raised(spell.raised_k, f"{spell.raised_k:g} K higher until {until}, after a warm spell")

    def _until(self, spell: Spell) -> str:
        return (date.fromisoformat(spell.last_day) + timedelta(days=NIGHTS)).isoformat()

    # ---- words ---------------------------------------------------------------------------------------------

    def reason(self, kind: str, subject: str) -> Reason:
        """How warm, for how long, what changes."""
        del kind
        guarded = self._ground.guarding.trees.get(subject)
        spell = self._spell(guarded.tree.sensor) if guarded is not None else None
        if guarded is None or spell is None:
            return Reason("a warm spell is over", "frost limits are as before", "Nothing to do.")
        return night_words.warm_spell(
            self._ground.speech(),
            guarded.tree.name,
            spell.mean_c,
            spell.days,
            spell.raised_k,
            self._until(spell),
        )

    def facts(self) -> Mapping[str, Any]:
        """`warm_spells`: sensors whose trees count as more tender now."""
        spells = {sensor: spell for sensor, spell in self._spells_said().items() if spell is not None}
        return {
            "warm_spells": [
                {
                    "sensor": sensor,
                    "days": spell.days,
                    "mean_c": round(spell.mean_c, 1),
                    "raised_k": spell.raised_k,
                    "until": self._until(spell),
                }
                for sensor, spell in spells.items()
            ]
        }


def _is_raised(guarded: GuardedTree) -> bool:
    return guarded.is_tender and any(limit.raised for limit in guarded.in_force.values())
