"""Root-balls: how cold each pot is, by probe or reckoned; roots in danger, frozen days, needles that dry."""

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, time, timedelta
from typing import Any

from monitor.clock import local
from monitor.guarding import GuardedTree
from monitor.model import Assessment, Flag, HourRow, Judgement, Priority, Row
from monitor.notices import recovery_words
from monitor.notices.words import Reason
from monitor.trees.species import shipped_species
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.pot_fold import (
    HOUR_S,
    REACH_S,
    PotFacts,
    PotNow,
    fold_pot,
    from_json,
    pot_facts,
    pot_in,
)

FROZEN, DESICCATION = "frozen-root-ball", "winter-desiccation"
ROW = "pots"
DEADBAND_K = 0.5
HOUR_GRACE_S = 60.0
DAY_FROM, DAY_TO = time(9, 0), time(16, 0)
"""A day that a pot can be frozen through; local time, judgement."""
LOSS_G_PER_M2 = 60.0
"""What needles may lose over a frozen pot: about a quarter of their water; judgement, from memory."""


class PotWatch:
    """Follows the root-ball of every tree of the book."""

    KINDS = frozenset({FROZEN, DESICCATION})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._deadband_k = ground.deadband(FROZEN, DEADBAND_K)
        own = ground.settings.alarms.get(FROZEN)
        if own is not None and own.deadband is not None:
            self._deadband_k = own.deadband
        self._facts: dict[str, PotFacts] = {}
        self._pots: dict[str, PotNow] = {}
        self._saved: dict[str, Any] = {}
        self._changed = False
        self._means_c: dict[str, float] = {}
        """The air of the hour so far, by sensor, for one look."""
        self.now: dict[str, PotNow] = {}
        """Every root-ball as of the last look."""

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over what the pots were; whether the book still says the same is seen at the first hour."""
        self._saved = dict(learned.get(ROW, {}))

    # ---- the fold ------------------------------------------------------------------------------------------

    def _follow(self, to_s: float) -> None:
        trees = self._ground.guarding.trees
        facts = {
            guarded.tree.id: pot_facts(guarded.tree, keeps_needles(guarded)) for guarded in trees.values()
        }
        for name, each in facts.items():
            before = self._before(name, each)
            self._pots[name] = fold_pot(
                each, before, to_s, self._first_s(each, to_s), self._ground.hours.air, self._ground.hours.row
            )
        for gone in self._pots.keys() - facts.keys():
            del self._pots[gone]
        self._facts = facts
        self._changed = True

    def _before(self, name: str, facts: PotFacts) -> PotNow | None:
        """What was reckoned already, as long as it was reckoned from the same facts."""
        known = self._pots.get(name)
        if known is not None and name in self._facts:
            same = self._facts[name].until(known.until_s) == facts.until(known.until_s)
            return known if same else None
        saved = self._saved.get(name)
        if saved is None:
            return None
        now = from_json(saved["pot"])
        return now if saved["made_from"] == _made_from(facts, now.until_s) else None

    def _first_s(self, facts: PotFacts, to_s: float) -> float:
        begun_s = self._ground.hours.from_s
        placed_s = facts.placements[0].at_s if facts.placements else to_s
        first_s = max(to_s if begun_s is None else begun_s, placed_s, to_s - REACH_S)
        return min(first_s // HOUR_S * HOUR_S, to_s)

    def _present(self, name: str, now_s: float) -> PotNow | None:
        """The root-ball now: its probe, else the last hour's state in the air since."""
        pot, facts = self._pots.get(name), self._facts.get(name)
        if pot is None or facts is None:
            return None
        if facts.probe is not None:
            value_c = self._value_c(facts.probe, now_s)
            if not math.isnan(value_c):
                return PotNow(pot.until_s, value_c, pot.ice, pot.frozen_h, pot.loss_g_per_m2)
        if pot.temperature_c is None:
            return pot  # a moment's air says nothing of a lump that lags it by hours
        hours = (now_s - pot.until_s) / HOUR_S
        if hours < 1e-3 or hours > 24.0:
            return pot
        return pot_in(facts, pot, self._air_c(facts.sensor_at(now_s), pot.until_s, now_s), hours)

    def _air_c(self, sensor: str | None, since_s: float, now_s: float) -> float:
        """The mean of the air since the last whole hour; after more than an hour the present value."""
        present_c = self._value_c(sensor, now_s)
        if math.isnan(present_c) or sensor is None or now_s - since_s > HOUR_S + HOUR_GRACE_S:
            return present_c
        if sensor not in self._means_c:
            mean_c = self._ground.history.hour_mean_c(sensor, since_s)
            self._means_c[sensor] = present_c if mean_c is None else mean_c
        return self._means_c[sensor]

    def _value_c(self, sensor: str | None, now_s: float) -> float:
        """The present temperature at a sensor; NaN where there is none."""
        surroundings = self._ground.surroundings
        if sensor not in self._ground.settings.sensors or not surroundings.is_fresh(sensor, now_s):
            return math.nan
        reading = surroundings.latest(sensor)
        return math.nan if reading is None or reading.flag >= Flag.FAIL else reading.value

    # ---- watch ---------------------------------------------------------------------------------------------

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Every root-ball as it is now."""
        found: list[Assessment] = []
        self.now, self._means_c = {}, {}
        for name, guarded in self._ground.guarding.trees.items():
            pot = self._present(name, now_s)
            if pot is not None:
                self.now[name] = pot
                found += self._cold(guarded, pot, now_s)
                found += self._dries(guarded, pot, now_s)
        return found

    def _is_quiet(self, kind: str, tree: str) -> bool:
        """Whether nothing stands that a finding that all is well could end."""
        return self._ground.board.by_name(f"{kind}/{tree}") is None

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """An hour more of each."""
        del hours
        self._follow((now_s - HOUR_GRACE_S) // HOUR_S * HOUR_S)
        return self.look(now_s)

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """Another pot, another place, other limits."""
        return self.hour(now_s, ())

    def _cold(self, guarded: GuardedTree, pot: PotNow, now_s: float) -> Iterable[Assessment]:
        """Against the root limits, and for a frozen day."""
        limits, value_c = guarded.limits, pot.temperature_c
        warn_c, harm_c = limits.get("root_warn_c"), limits.get("root_harm_c")
        if value_c is None:
            return ()
        frozen_day = pot.is_frozen and self._through_the_day(pot, now_s)
        priority, limit_c = None, warn_c
        if harm_c is not None and value_c <= harm_c:
            priority, limit_c = Priority.HIGH if guarded.is_tender else Priority.MEDIUM, harm_c
        elif warn_c is not None and value_c <= warn_c:
            priority = Priority.MEDIUM if guarded.is_tender else Priority.LOW
        elif frozen_day:
            priority = Priority.MEDIUM if guarded.is_tender or keeps_needles(guarded) else Priority.LOW
        if priority is None and self._is_quiet(FROZEN, guarded.tree.id):
            return ()
        over = limit_c is None or value_c > limit_c + self._deadband_k
        found = Assessment(
            FROZEN,
            guarded.tree.id,
            now_s,
            Judgement.NORMAL if priority is None else Judgement.BREACH,
            priority or Priority.LOW,
            round(value_c, 2),
            limit_c,
            returned=over and self._is_good(guarded, now_s),
            immediate=True,
        )
        return (found,)

    def _is_good(self, guarded: GuardedTree, now_s: float) -> bool:
        """Whether what stands behind the value may clear an alarm: a fresh, good reading."""
        probe = guarded.tree.pot_sensor if guarded.tree.pot_sensor in self._ground.settings.sensors else None
        sensor = probe or guarded.tree.sensor
        if sensor not in self._ground.settings.sensors or sensor is None:
            return False
        reading = self._ground.surroundings.latest(sensor)
        fresh = self._ground.surroundings.is_fresh(sensor, now_s)
        return fresh and reading is not None and reading.flag <= Flag.NOT_EVALUATED

    def _through_the_day(self, pot: PotNow, now_s: float) -> bool:
        """Whether the last day that is over found it frozen from its morning on."""
        zone = self._ground.settings.site.zone
        label = local(self._ground.label_s(now_s), zone)
        day = label.date() if label.time() >= DAY_TO else label.date() - timedelta(days=1)
        morning_s = datetime.combine(day, DAY_FROM, tzinfo=zone).timestamp()
        return self._ground.label_s(pot.until_s - pot.frozen_h * HOUR_S) <= morning_s

    def _dries(self, guarded: GuardedTree, pot: PotNow, now_s: float) -> Iterable[Assessment]:
        """Needles over a frozen pot."""
        loss = pot.loss_g_per_m2
        if loss < LOSS_G_PER_M2 and self._is_quiet(DESICCATION, guarded.tree.id):
            return ()
        judgement = Judgement.BREACH if loss >= LOSS_G_PER_M2 else Judgement.NORMAL
        if pot.temperature_c is None:
            judgement = Judgement.UNKNOWN
        thawed = loss == 0.0 and self._is_good(guarded, now_s)
        value = round(loss, 1)
        found = Assessment(
            DESICCATION, guarded.tree.id, now_s, judgement, Priority.MEDIUM, value, LOSS_G_PER_M2,
            returned=thawed, immediate=True,
        )  # fmt: skip
        return (found,)

    def reason(self, kind: str, subject: str) -> Reason:
        """Cause, consequence, action."""
        guarded, pot = self._ground.guarding.trees.get(subject), self.now.get(subject)
        if guarded is None or pot is None:
            return Reason(f"the root-ball of {subject}", "nothing is known of it", "Look at it.")
        name = guarded.tree.name
        if kind == DESICCATION:
            return recovery_words.winter_desiccation(name, pot.frozen_h)
        reached = [
            limit
            for key in ("root_harm_c", "root_warn_c")
            if (limit := guarded.limits.get(key)) is not None and (pot.temperature_c or 0.0) <= limit
        ]
        return recovery_words.frozen_root_ball(
            self._ground.speech(),
            name,
            pot.temperature_c,
            reached[0] if reached else None,
            pot.frozen_h,
            guarded.tree.pot_sensor is not None,
        )

    def take(self) -> Found:
        """The hour's pots, for a restart."""
        if not self._changed:
            return NOTHING_FOUND
        self._changed = False
        return Found(rows=self.rows())

    def rows(self) -> tuple[Row, ...]:
        """All pots in one row."""
        value = {
            name: {"made_from": _made_from(self._facts[name], pot.until_s), "pot": pot.as_json()}
            for name, pot in self._pots.items()
            if name in self._facts
        }
        return (Row("learned", ROW, value),)

    def facts(self) -> Mapping[str, Any]:
        """`pots` of status."""
        return {
            "pots": [
                {
                    "tree": name,
                    "temperature_c": None if pot.temperature_c is None else round(pot.temperature_c, 2),
                    "by": "probe" if self._facts[name].probe is not None else "reckoned",
                    "litres": self._facts[name].litres,
                    "frozen_part": round(pot.ice, 2),
                    "frozen_h": round(pot.frozen_h, 1),
                    "needle_loss_g_per_m2": round(pot.loss_g_per_m2, 1),
                }
                for name, pot in self.now.items()
                if name in self._facts
            ]
        }


def keeps_needles(guarded: GuardedTree) -> bool:
    """Whether the tree keeps its leaves over winter, by the book, else by its species."""
    if guarded.tree.evergreen is not None:
        return guarded.tree.evergreen
    facts = shipped_species().find(guarded.tree.species)
    return bool(facts is not None and facts.evergreen)


def _made_from(facts: PotFacts, until_s: float) -> str:
    return hashlib.sha256(repr(facts.until(until_s)).encode()).hexdigest()[:16]
