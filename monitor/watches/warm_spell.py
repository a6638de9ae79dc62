"""Have warm days cost hardiness? After two days of 10 °C on average frost limits rise for three nights.

Only limits below zero rise, by 2 K, by 3 K after longer or warmer spells, and never past zero; a person's own
limits stand. The alarm never rings: it is how page and report say why the limits moved.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from monitor.guarding import GuardedTree
from monitor.model import Assessment, HourRow, Judgement, Priority, Row
from monitor.notices import night_words
from monitor.notices.words import Reason
from monitor.trees.in_force import Raised
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.plain import PlainWatch, over
from monitor.watches.warm_days import WARM_C, Spell, WarmDays

KIND: Final = "warm-spell"
LEARNED: Final = "warm-spell"


class WarmSpellWatch(PlainWatch):
    """The days of every sensor that a tree stands at."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._warm = WarmDays(ground.settings.site.zone)
        self._is_changed = False
        self._now_s = 0.0
        self._asked = (0.0, 0.0)
        self._spells: dict[str | None, Spell | None] = {}
        ground.guarding.raises = self.raised

    # ---- memory --------------------------------------------------------------------------------------------

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the days that were seen."""
        days = learned.get(LEARNED, {}).get("days", {})
        self._warm.days = {sensor: dict(known) for sensor, known in days.items()}
        self._spells = {}

    def rows(self) -> tuple[Row, ...]:
        """The last days."""
        days = {sensor: dict(known) for sensor, known in self._warm.days.items()}
        return (Row("learned", LEARNED, {"days": days}),)

    def take(self) -> Found:
        """The days, once an hour."""
        if not self._is_changed:
            return NOTHING_FOUND
        self._is_changed = False
        return Found(rows=self.rows())

    # ---- days ----------------------------------------------------------------------------------------------

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """Add the hours that ended, and say which trees' limits are raised."""
        self._is_changed |= self._warm.add(hours, self._offset_s)
        self._spells = {}
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
        return {sensor: self._spell(sensor) for sensor in self._warm.days}

    def _spell(self, sensor: str | None) -> Spell | None:
        """The warm spell whose three nights are not over yet: one answer for all trees at a sensor."""
        asked = (self._now_s, self._offset_s)
        if asked != self._asked:
            self._asked, self._spells = asked, {}
        if sensor not in self._spells:
            self._spells[sensor] = self._warm.spell(sensor, self._now_s, self._offset_s)
        return self._spells[sensor]

    @property
    def _offset_s(self) -> float:
        return self._ground.speech().offset_s

    def raised(self, sensor: str | None, now_s: float) -> Raised | None:
        """How far the limits of trees at a sensor are raised now; for `guarding`."""
        self._now_s = max(self._now_s, now_s)
        spell = self._spell(sensor)
        return None if spell is None else spell.raised

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
            spell.until,
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
                    "until": spell.until,
                }
                for sensor, spell in spells.items()
            ]
        }


def _is_raised(guarded: GuardedTree) -> bool:
    return guarded.is_tender and any(limit.raised for limit in guarded.in_force.values())
