"""A watch that keeps nothing, finds nothing by the hour and tells nothing: what most have no need of."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.model import Assessment, HourRow, Judgement, Row
from monitor.watch import NOTHING_FOUND, Found


class PlainWatch:
    """The parts of a watch that do nothing; `look` and `reason` are each watch's own."""

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Nothing is kept."""
        del learned

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """Nothing by the hour."""
        del now_s, hours
        return ()

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """Nothing by the book."""
        del now_s
        return ()

    def take(self) -> Found:
        """Nothing is kept."""
        return NOTHING_FOUND

    def rows(self) -> tuple[Row, ...]:
        """Nothing is kept."""
        return ()

    def facts(self) -> Mapping[str, Any]:
        """Nothing that the alarms do not say."""
        return {}


def over(kind: str, subject: str, now_s: float, value: float | None = None) -> Assessment:
    """The condition is gone."""
    return Assessment(kind, subject, now_s, Judgement.NORMAL, value=value, returned=True)


def unknown(kind: str, subject: str, now_s: float) -> Assessment:
    """Nobody can tell: neither raises nor clears."""
    return Assessment(kind, subject, now_s, Judgement.UNKNOWN)
