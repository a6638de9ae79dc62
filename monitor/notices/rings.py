"""What rang and is over, kept for eight days with its answer: was it worth waking somebody?

The answers are told each Sunday and change nothing else: no rule grows deaf by itself.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from monitor.model import Priority, Row

KEPT_S = 8 * 86400.0
AT_MOST = 200
"""A site that rings more often than that in a week is told by the last of them."""
PREFIX = "rang/"
"""Before the episode's name, in the key of a ring's row."""


@dataclass(frozen=True, slots=True)
class Ring:
    """An episode that called somebody; instants in guard time [s].

    `is_worth` is None until somebody answers; `by` is who did.
    """

    episode: str
    what: str
    place: str
    priority: Priority
    began_at_s: float
    over_at_s: float
    is_worth: bool | None = None
    by: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @staticmethod
    def from_json(values: Mapping[str, Any]) -> "Ring":
        """The ring that `as_json` wrote."""
        return Ring(**{**values, "priority": Priority(values["priority"])})


class Rings:
    """The rings of eight days, by the names of their episodes; memory is a row each."""

    def __init__(self) -> None:
        self._rings: dict[str, Ring] = {}
        self._changed: set[str] = set()

    def load(self, rows: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the rows that were saved; other rows are none of ours."""
        self._rings = {
            row["episode"]: Ring.from_json(row) for key, row in rows.items() if key.startswith(PREFIX)
        }

    def over(self, ring: Ring) -> None:
        """An episode that rang is over; what is older than eight days is forgotten, and of many the first."""
        self._put(ring)
        old = [ring.episode for ring in self.since(0.0)[:-AT_MOST]]
        old += [name for name, other in self._rings.items() if other.over_at_s < ring.over_at_s - KEPT_S]
        for name in dict.fromkeys(old):
            del self._rings[name]
            self._changed.add(name)

    def answer(self, episode: str, is_worth: bool, by: str) -> Ring:
        """Somebody says whether it was worth it, or thinks again; ValueError where no such thing rang."""
        ring = self._rings.get(episode)
        if ring is None:
            raise ValueError(f"nothing that is over rang by the name {episode!r} in the last eight days")
        self._put(replace(ring, is_worth=is_worth, by=by))
        return self._rings[episode]

    def since(self, from_s: float) -> tuple[Ring, ...]:
        """What was over later than an instant [guard time, s], in the order it ended."""
        found = (ring for ring in self._rings.values() if ring.over_at_s > from_s)
        return tuple(sorted(found, key=lambda ring: (ring.over_at_s, ring.episode)))

    def _put(self, ring: Ring) -> None:
        self._rings[ring.episode] = ring
        self._changed.add(ring.episode)

    def rows(self) -> tuple[Row, ...]:
        """Every row there is."""
        return tuple(self._row(name) for name in sorted(self._rings))

    def take_changed(self) -> tuple[Row, ...]:
        """Changed rows since the last call."""
        rows = tuple(self._row(name) for name in sorted(self._changed))
        self._changed.clear()
        return rows

    def _row(self, name: str) -> Row:
        ring = self._rings.get(name)
        return Row("episode", f"{PREFIX}{name}", None if ring is None else ring.as_json())
