"""Wraps: how wet each one is, hour by hour; which dries, which nobody knows of, which was wet for too long.

Slow state: the fold of book and hourly rows. It goes on hour by hour, begins again from an earlier mark where
the book changed what was before, and from a saved mark at a start.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any

from monitor.guarding import GuardedTree
from monitor.model import Assessment, HourRow, Judgement, Priority, Row
from monitor.notices import recovery_words
from monitor.notices.words import Reason
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.wrap_events import WrapEvent, WrapKey, fingerprint, first_difference_s, wrap_events
from monitor.watches.wrap_fold import HOUR_S, Fold, beginning, fold_on
from monitor.watches.wrap_views import DRY_SOON_H, Belief, WrapView, beliefs, wrap_views

DRYING, UNKNOWN, TOO_LONG = "wrap-drying", "wrap-unknown", "wet-too-long"
ROW = "wraps"
ROW_LINES = "wraps-lines"
MADE_BY = "2"
"""Changes with the reckoning: a mark that an older one made is not gone on from."""
MARK_EVERY_S = 86_400.0
MARKS_KEPT = 15
ROUNDING_S = 0.001
"""Entries are written to the millisecond, and may so be a little ahead."""
LINES_AT_MOST = 48
"""Hours for which lines are caught up after an outage."""
HOUR_GRACE_S = 60.0
OUTLOOK_H = 24


_Believed = tuple[Fold, Mapping[str, GuardedTree], float, Mapping[WrapKey, Belief]]
"""The last fold looked at, its trees, the hour in whose air it was looked at, and what it amounts to."""


class WrapWatch:
    """Follows every wrap of the book."""

    KINDS = frozenset({DRYING, UNKNOWN, TOO_LONG})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._events: tuple[WrapEvent, ...] = ()
        self._fold: Fold | None = None
        self._marks: list[Fold] = []
        self._saved: Mapping[str, Any] = {}
        self._believed: _Believed | None = None
        self._lines_to_s: float | None = None
        self._lines: list[Mapping[str, Any]] = []
        self._rows: list[Row] = []
        self.views: tuple[WrapView, ...] = ()
        """Every wrap that is on, as of the last hour or change of the book."""

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the last mark; whether it still fits the book is seen at the first hour."""
        self._saved = learned.get(ROW, {})
        self._lines_to_s = learned.get(ROW_LINES, {}).get("to_s")

    # ---- the fold ------------------------------------------------------------------------------------------

    def _follow(self, to_s: float) -> None:
        """The fold at the end of an hour, by the book as it is now."""
        events = wrap_events(self._ground.book().trees.values())
        if self._fold is None:
            self._fold = self._saved_mark(events)
        else:
            changed_s = first_difference_s(self._events, events)
            if changed_s is not None and changed_s <= self._fold.until_s:
                self._marks = [mark for mark in self._marks if mark.until_s < changed_s]
                self._fold = self._marks[-1] if self._marks else None
        self._events = events
        fold = self._fold or beginning(events)
        self._fold = fold
        if fold is None:
            return
        while fold.until_s < to_s:
            next_s = min((fold.until_s // MARK_EVERY_S + 1) * MARK_EVERY_S, to_s)
            fold = fold_on(fold, events, next_s, self._ground.hours.air)
            if next_s % MARK_EVERY_S == 0:
                self._mark(fold)
        self._fold = fold

    def _mark(self, fold: Fold) -> None:
        self._marks = [*self._marks, fold][-MARKS_KEPT:]
        self._rows = [self._mark_row(fold)]

    def _mark_row(self, fold: Fold) -> Row:
        made_from = MADE_BY + fingerprint(self._events, fold.until_s)
        return Row("learned", ROW, {"made_from": made_from, **fold.as_json()})

    def _saved_mark(self, events: Sequence[WrapEvent]) -> Fold | None:
        """The saved mark, if the book still says what it was made from."""
        saved, self._saved = self._saved, {}
        if not saved:
            return None
        if saved.get("made_from") != MADE_BY + fingerprint(events, saved["until_s"]):
            return None
        fold = Fold.from_json({key: value for key, value in saved.items() if key != "made_from"})
        self._marks = [fold]
        return fold

    def _present(self, now_s: float) -> Fold | None:
        """The fold with what happened since the last whole hour, in the air of the hour so far."""
        if self._fold is None or not any(e.at_s > self._fold.until_s for e in self._events):
            return self._fold

        def air(sensor: str | None, hour_at_s: float) -> tuple[float, float]:
            known = self._ground.hours.air(sensor, hour_at_s)
            if known[0] == known[0] or sensor not in self._ground.settings.sensors or sensor is None:
                return known
            row = self._ground.history.hour_row(sensor, hour_at_s)
            means = row.temperature_mean_c, row.relative_humidity_mean_pct
            return tuple(math.nan if mean is None else mean for mean in means)  # type: ignore[return-value]

        return fold_on(self._fold, self._events, now_s + ROUNDING_S, air)

    def _outlook(self, to_s: float) -> Any:
        """Mean air of the last day at a sensor."""

        @cache
        def outlook(sensor: str | None) -> tuple[float, float]:
            hours = [self._ground.hours.air(sensor, to_s - HOUR_S * back) for back in range(1, OUTLOOK_H + 1)]
            known = [pair for pair in hours if pair[0] == pair[0] and pair[1] == pair[1]]
            if not known:
                return math.nan, math.nan
            return sum(p[0] for p in known) / len(known), sum(p[1] for p in known) / len(known)

        return outlook

    def _see(self, fold: Fold | None, now_s: float) -> tuple[WrapView, ...]:
        if fold is None:
            return ()
        trees = self._ground.guarding.trees
        hour_at_s = now_s // HOUR_S * HOUR_S
        known = self._believed
        if known is None or known[0] is not fold or known[1] is not trees or known[2] != hour_at_s:
            known = fold, trees, hour_at_s, beliefs(fold, trees, self._outlook(hour_at_s))
            self._believed = known
        return wrap_views(known[3], trees, self._ground.plans, now_s)

    # ---- watch ---------------------------------------------------------------------------------------------

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Nothing between the hours."""
        del now_s
        return ()

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """Every hour that has ended, a line a wrap; then what is found."""
        del hours
        ended_s = (now_s - HOUR_GRACE_S) // HOUR_S * HOUR_S
        if self._lines_to_s is None:
            self._lines_to_s = ended_s - HOUR_S
        at_s = max(self._lines_to_s + HOUR_S, ended_s - LINES_AT_MOST * HOUR_S)
        while at_s <= ended_s:
            self._follow(at_s)
            self._lines += [self._line(view, at_s) for view in self._see(self._fold, at_s)]
            self._lines_to_s = at_s
            at_s += HOUR_S
        self._follow(ended_s)
        return self._found(now_s)

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """What the book says now counts at once."""
        self._follow((now_s - HOUR_GRACE_S) // HOUR_S * HOUR_S)
        return self._found(now_s)

    def _found(self, now_s: float) -> list[Assessment]:
        self.views = self._see(self._present(now_s), now_s)
        found = [each for view in self.views for each in assessments(view, now_s)]
        subjects = {view.subject for view in self.views}
        found += [
            Assessment(row.kind, row.subject, now_s, Judgement.NORMAL, returned=True)
            for row in self._ground.board
            if row.kind in self.KINDS and row.active and row.subject not in subjects
        ]
        return found

    def _line(self, view: WrapView, at_s: float) -> dict[str, Any]:
        estimate = view.estimate
        return {
            "at_s": self._ground.label_s(at_s),
            "tree": view.key[0],
            "wrap": view.wrap,
            "moisture_kg_per_kg": _range(estimate.moisture_kg_per_kg),
            "dry_in_h": _range(estimate.dry_in_h),
            "feel": view.feel,
            "gain": round(estimate.gain.p50, 4),
        }

    def reason(self, kind: str, subject: str) -> Reason:
        """Cause, consequence, action."""
        view = next((view for view in self.views if view.subject == subject), None)
        if view is None:
            return Reason(f"the wrap {subject}", "it is not on any more", "Nothing.")
        return reason_of(kind, view)

    def take(self) -> Found:
        """Lines, the day's mark, and how far the lines have come."""
        if not self._lines and not self._rows:
            return NOTHING_FOUND
        rows = (*self._rows, Row("learned", ROW_LINES, {"to_s": self._lines_to_s}))
        found = Found(wraps=tuple(self._lines), rows=rows)
        self._lines, self._rows = [], []
        return found

    def rows(self) -> tuple[Row, ...]:
        """The last mark, and how far the lines have come."""
        lines = (Row("learned", ROW_LINES, {"to_s": self._lines_to_s}),) if self._lines_to_s else ()
        return (*lines, self._mark_row(self._marks[-1])) if self._marks else lines

    def facts(self) -> Mapping[str, Any]:
        """`wraps` of status."""
        return {"wraps": [wrap_facts(view, self._ground) for view in self.views]}


# ---- what a view amounts to --------------------------------------------------------------------------


def assessments(view: WrapView, now_s: float) -> Iterable[Assessment]:
    """What the three kinds find of one wrap; low, they never ring."""

    def found(kind: str, breach: bool | None, over: bool, value: float | None, limit: float) -> Assessment:
        judgement = Judgement.UNKNOWN if breach is None else Judgement.BREACH if breach else Judgement.NORMAL
        value = None if value is None or not math.isfinite(value) else round(value, 2)
        return Assessment(
            kind, view.subject, now_s, judgement, Priority.LOW, value, limit, returned=over, immediate=True
        )

    damp, frozen = view.is_kept_damp, view.feel == "frozen"
    dries = view.wants_water if damp else False
    over = not damp or view.water_can_wait
    yield found(DRYING, dries, over, view.estimate.dry_in_h.p50, DRY_SOON_H)
    unknown = None if frozen and damp else damp and bool(view.touch_because)
    yield found(UNKNOWN, unknown, True, view.blind_h, 0.0)
    yield found(TOO_LONG, view.looks_for_mould, True, view.wet_days, view.max_days)


def reason_of(kind: str, view: WrapView) -> Reason:
    """The words of one alarm about one wrap."""
    dry_in = view.estimate.dry_in_h
    if kind == DRYING:
        when = recovery_words.dry_in(dry_in.p10, dry_in.p90)
        return recovery_words.wrap_drying(
            view.tree_name, view.wrap, when, view.wet_days, view.min_days, view.feel == "dry"
        )
    if kind == UNKNOWN:
        return recovery_words.wrap_unknown(view.tree_name, view.wrap, view.touch_because)
    return recovery_words.wet_too_long(view.tree_name, view.wrap, view.wet_days, view.max_days)


def wrap_facts(view: WrapView, ground: Ground) -> dict[str, Any]:
    """One wrap as `status --json` and the page have it."""
    felt, dry_in = view.felt, view.estimate.dry_in_h
    return {
        "tree": view.key[0],
        "wrap": view.wrap,
        "fibre": view.fibre,
        "cover": view.cover,
        "keep": view.keep,
        "feel": view.feel,
        "moisture_kg_per_kg": _range(view.estimate.moisture_kg_per_kg),
        "dry_in_h": _range(dry_in),
        "said": recovery_words.dry_in(dry_in.p10, dry_in.p90),
        "thought": recovery_words.wrap_said(view.feel, dry_in.p10, dry_in.p90, view.touch_because),
        "gain": round(view.estimate.gain.p50, 3),
        "day": int(view.on_days),
        "wet_days": round(view.wet_days, 1),
        "wet_min_days": view.min_days,
        "wet_max_days": view.max_days,
        "since_touch_h": None if view.since_touch_h is None else round(view.since_touch_h, 1),
        "touch_because": view.touch_because,
        "felt": None
        if felt is None
        else {
            "at_s": ground.label_s(felt.at_s),
            "feel": felt.feel,
            "how": felt.how,
            "believed": not felt.doubt,
            "doubt": felt.doubt,
        },
    }


def _range(values: Sequence[float]) -> dict[str, float | None]:
    """Ten, fifty and ninety per cent points; null for never and for not knowable."""
    keys = ("p10", "p50", "p90")
    return {
        key: round(value, 3) if math.isfinite(value) else None
        for key, value in zip(keys, values, strict=True)
    }
