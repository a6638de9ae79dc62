"""The page's pictures as numbers and path texts: each tree as a strand above its frost line. Pure.

All trees share one line at the bottom: the temperature below which damage is likely, each tree its own. What
is drawn is how far the air has been above it, so that the tenderest tree lies lowest. Widths are per mille of
the picture, heights pixels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta, tzinfo

import numpy as np

from monitor.clock import local
from monitor.web.curves import Curve, Floats

WIDTH = 1000
HEIGHT = 260
GROUND = 46
"""At least so much stands below the line."""
SPACE = 9
LABEL_HEIGHT = 17
HIGHEST_K = 9.0
LEAST_K = 3.0
STRANDS_AT_MOST = 12


@dataclass(frozen=True, slots=True)
class Scale:
    """Kelvin above the line to pixels from the top."""

    top_k: float
    line: float
    """Where the line lies [px]."""
    height: int = HEIGHT

    def y(self, above_k: float) -> float:
        """Pixels from the top, not held to the picture."""
        return self.line - above_k / self.top_k * (self.line - SPACE)

    def inside(self, above_k: float) -> float:
        """The same, held to the picture."""
        return min(max(self.y(above_k), SPACE), self.height - SPACE)


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on an axis: where (per mille across, or pixels down) and what stands there."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Course:
    """One tree's way through the night, as it comes: kelvin above its own line."""

    tree: str
    name: str
    curve: Curve
    harm_c: float
    margin_k: float | None
    gap_s: float


@dataclass(frozen=True, slots=True)
class Strand:
    """One tree as it is drawn: its path, where it ends, and where its name stands [px]."""

    tree: str
    name: str
    path: str
    end_y: float
    label_y: float
    is_tenderest: bool
    is_known: bool


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything that the template draws."""

    strands: Sequence[Strand]
    hours: Sequence[Mark]
    heights: Sequence[Mark]
    line: float
    height: int = HEIGHT
    left_out: int = 0


def picture_of(
    courses: Sequence[Course], from_s: float, to_s: float, zone: tzinfo, offset_s: float
) -> Picture:
    """The tenderest trees, the lowest first; the rest are counted."""
    drawn = sorted((c for c in courses if not c.curve.is_empty), key=_lowness)
    shown = drawn[:STRANDS_AT_MOST]
    scale = _scale(shown)
    ends = [scale.inside(_last_k(course)) for course in shown]
    labels = spread(ends, LABEL_HEIGHT, SPACE, HEIGHT - SPACE)
    strands = [
        Strand(
            course.tree,
            course.name,
            path_of(course.curve.at_s, course.curve.low_c - course.harm_c, scale, from_s, to_s, course.gap_s),
            round(end, 1),
            round(label, 1),
            course is shown[0],
            course.margin_k is not None,
        )
        for course, end, label in zip(shown, ends, labels, strict=True)
    ]
    hours = hour_marks(from_s + offset_s, to_s + offset_s, zone)
    return Picture(strands, hours, _heights(scale), round(scale.line, 1), left_out=len(drawn) - len(shown))


def _lowness(course: Course) -> tuple[float, str]:
    return (_last_k(course), course.tree)


def _last_k(course: Course) -> float:
    """Where the strand ends: now, or where it was last seen."""
    if course.margin_k is not None:
        return course.margin_k
    seen = course.curve.low_c[~np.isnan(course.curve.low_c)]
    return float(seen[-1]) - course.harm_c


def _scale(courses: Sequence[Course]) -> Scale:
    """Room for what was seen, but no more than tells something."""
    highest, lowest = LEAST_K, 0.0
    for course in courses:
        highest = max(highest, float(np.nanmax(course.curve.low_c)) - course.harm_c)
        lowest = min(lowest, float(np.nanmin(course.curve.low_c)) - course.harm_c, course.margin_k or 0.0)
    top_k = min(highest + 0.3, HIGHEST_K)
    share = -lowest / (top_k - lowest)
    ground = min(max(GROUND, share * HEIGHT + SPACE), HEIGHT * 0.6)
    return Scale(top_k, HEIGHT - ground)


def _heights(scale: Scale) -> list[Mark]:
    step = 1 if scale.top_k <= 4 else 2
    return [Mark(round(scale.y(k), 1), f"{k}°") for k in range(step, int(scale.top_k) + 1, step)]


def hour_marks(from_s: float, to_s: float, zone: tzinfo) -> list[Mark]:
    """Local hours, or midnights, across a span; about six of them."""
    first, last = local(from_s, zone), local(to_s, zone)
    hours = (to_s - from_s) / 3600
    step = next((step for step in (1, 2, 3, 4, 6, 12) if hours / step <= 6.5), 24)
    if step == 24:
        return _day_marks(from_s, to_s, zone)
    marks = []
    at = first.replace(minute=0, second=0, microsecond=0)
    while at <= last:
        share = (at.timestamp() - from_s) / (to_s - from_s)
        if at.hour % step == 0 and 0.03 <= share <= 0.97:
            marks.append(Mark(round(share * WIDTH), f"{at:%H}"))
        at = local(at.timestamp() + 3600, zone)
    return marks


def _day_marks(from_s: float, to_s: float, zone: tzinfo) -> list[Mark]:
    days = (to_s - from_s) / 86400
    step = max(1, round(days / 5))
    at = local(from_s, zone).replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    marks = []
    while at.timestamp() < to_s:
        share = (at.timestamp() - from_s) / (to_s - from_s)
        if 0.05 <= share <= 0.95:
            marks.append(Mark(round(share * WIDTH), f"{at.day} {at:%b}"))
        at += timedelta(days=step)
    return marks


def path_of(at_s: Floats, above_k: Floats, scale: Scale, from_s: float, to_s: float, gap_s: float) -> str:
    """An SVG path through what is known; a gap longer than `gap_s` stays one."""
    parts: list[str] = []
    last_s = float("-inf")
    for instant_s, k in zip(at_s.tolist(), above_k.tolist(), strict=True):
        if k != k:
            continue
        x = round((instant_s - from_s) / (to_s - from_s) * WIDTH)
        y = round(min(max(scale.y(k), -SPACE), scale.height + SPACE), 1)
        parts.append(f"{'L' if instant_s - last_s <= gap_s else 'M'}{x} {y:g}")
        last_s = instant_s
    return "".join(parts)


def band_of(curve: Curve, low_k: Floats, high_k: Floats, scale: Scale, from_s: float, to_s: float) -> str:
    """The area between the lowest and the highest of each column, one shape for each unbroken stretch."""
    known = ~np.isnan(low_k)
    shapes, stretch = [], []
    for index, is_known in enumerate([*known, False]):
        if is_known:
            stretch.append(index)
        elif stretch:
            shapes.append(_shape(curve, stretch, low_k, high_k, scale, from_s, to_s))
            stretch = []
    return "".join(shapes)


def _shape(
    curve: Curve,
    stretch: Sequence[int],
    low_k: Floats,
    high_k: Floats,
    scale: Scale,
    from_s: float,
    to_s: float,
) -> str:
    def point(index: int, values: Floats) -> str:
        x = round((curve.at_s[index] - from_s) / (to_s - from_s) * WIDTH)
        return f"{x} {scale.inside(float(values[index])):.1f}"

    there = [point(index, high_k) for index in stretch]
    back = [point(index, low_k) for index in reversed(stretch)]
    return f"M{'L'.join([*there, *back])}Z"


def spread(ends: Sequence[float], apart: float, top: float, bottom: float) -> list[float]:
    """Places for labels near their ends, none nearer than `apart` to the next, all inside where they fit."""
    order = sorted(range(len(ends)), key=lambda index: ends[index])
    places = [0.0] * len(ends)
    last = top - apart
    for index in order:
        last = places[index] = max(ends[index], last + apart)
    limit = bottom + apart
    for index in reversed(order):
        limit = places[index] = min(places[index], limit - apart)
    return places
