"""The picture of the night: how far each tree was above its own line, and nothing drawn that was not seen."""

import re
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.web import drawing
from monitor.web.curves import Curve
from monitor.web.drawing import Course, Picture, picture_of, spread

LONDON = ZoneInfo("Europe/London")
FROM_S = datetime(2027, 1, 14, 16, tzinfo=LONDON).timestamp()
TO_S = datetime(2027, 1, 15, 4, tzinfo=LONDON).timestamp()
COLUMNS = 120


def _curve(*values: float) -> Curve:
    """A temperature in equal steps through the night; NaN for nothing seen."""
    at_s = FROM_S + (TO_S - FROM_S) * (np.arange(COLUMNS) + 0.5) / COLUMNS
    low_c = np.repeat(np.array(values, dtype=np.float64), COLUMNS // len(values))
    return Curve(at_s, low_c, low_c + 0.2)


def _course(tree: str, curve: Curve, harm_c: float, gap_s: float = 900.0) -> Course:
    last = float(curve.low_c[-1])
    return Course(tree, tree.capitalize(), curve, harm_c, None if np.isnan(last) else last - harm_c, gap_s)


def _picture(*courses: Course) -> Picture:
    return picture_of(courses, FROM_S, TO_S, LONDON, 0.0)


def test_the_tenderest_tree_lies_lowest() -> None:
    """Two trees in the same air, one with a higher frost line."""
    air = _curve(5.0, 4.0, 3.0)
    picture = _picture(_course("yew", air, -4.0), _course("larch", air, 0.0))

    assert [strand.tree for strand in picture.strands] == ["larch", "yew"]
    assert [strand.is_tenderest for strand in picture.strands] == [True, False]
    assert picture.strands[0].end_y > picture.strands[1].end_y


def test_a_tree_below_its_line_is_drawn_in_the_ground() -> None:
    """And one above it is not."""
    picture = _picture(_course("larch", _curve(2.0, -1.0), 0.0), _course("yew", _curve(2.0, -1.0), -4.0))

    assert picture.strands[0].end_y > picture.line
    assert picture.strands[1].end_y < picture.line


def test_a_tree_that_follows_its_line_is_drawn_on_it() -> None:
    """Exactly, to a tenth of a pixel."""
    picture = _picture(_course("larch", _curve(-1.5), -1.5))

    heights = {float(part.split()[1]) for part in re.split("[ML]", picture.strands[0].path)[1:]}
    assert heights == {picture.line}


def test_what_was_not_seen_is_not_drawn() -> None:
    """A gap stays one; a short one is bridged."""
    gap = _curve(5.0, np.nan, 4.0)

    assert _picture(_course("larch", gap, 0.0)).strands[0].path.count("M") == 2
    assert _picture(_course("larch", gap, 0.0, gap_s=8 * 3600.0)).strands[0].path.count("M") == 1


def test_a_tree_that_nobody_sees_now_keeps_its_name_where_it_was_last_seen() -> None:
    """And is marked."""
    picture = _picture(_course("larch", _curve(5.0, 1.0, np.nan), 0.0))

    assert not picture.strands[0].is_known
    assert picture.strands[0].end_y < picture.line


def test_only_the_tenderest_dozen_is_drawn_and_the_rest_is_counted() -> None:
    """Thirty trees make no thirty lines."""
    picture = _picture(*(_course(f"tree-{n}", _curve(5.0, 4.0), -float(n) / 10) for n in range(30)))

    assert len(picture.strands) == drawing.STRANDS_AT_MOST
    assert picture.left_out == 30 - drawing.STRANDS_AT_MOST
    assert picture.strands[0].tree == "tree-0"


def test_hours_are_the_site_s_own() -> None:
    """Every second hour of a night of twelve, also when the clocks change in it."""
    marks = drawing.hour_marks(FROM_S, TO_S, LONDON)
    assert [mark.text for mark in marks] == ["18", "20", "22", "00", "02"]
    assert marks[0].at == pytest.approx(1000 * 2 / 12, abs=1)

    spring = datetime(2027, 3, 27, 20, tzinfo=LONDON).timestamp()
    marks = drawing.hour_marks(spring, spring + 8 * 3600, LONDON)
    assert [mark.text for mark in marks] == ["22", "00", "02", "04"]
    assert marks[2].at - marks[1].at == pytest.approx(1000 / 8, abs=1), "one hour, not two"


def test_days_are_marked_at_midnight() -> None:
    """A week has its days."""
    marks = drawing.hour_marks(FROM_S, FROM_S + 7 * 86400.0, LONDON)

    assert "17 Jan" in [mark.text for mark in marks]


@given(st.lists(st.floats(0, 260), max_size=drawing.STRANDS_AT_MOST))
def test_names_never_stand_on_each_other_and_stay_in_the_picture(ends: list[float]) -> None:
    """Property: a label's height apart, in the order of their strands."""
    top, bottom = drawing.SPACE, drawing.HEIGHT - drawing.SPACE
    places = spread(ends, drawing.LABEL_HEIGHT, top, bottom)

    ordered = sorted(places)
    assert all(b - a >= drawing.LABEL_HEIGHT - 1e-6 for a, b in pairwise(ordered))
    assert all(top - 1e-6 <= place <= bottom + 1e-6 for place in places)
    order = sorted(range(len(ends)), key=lambda index: ends[index])
    assert [places[index] for index in order] == ordered


@given(
    st.lists(st.one_of(st.floats(-40, 40), st.just(float("nan"))), min_size=1, max_size=60),
    st.floats(-20, 10),
)
def test_whatever_the_night_was_the_path_stays_a_path(values: list[float], harm_c: float) -> None:
    """Property: numbers only, inside the picture and a little beyond."""
    curve = Curve(np.linspace(FROM_S, TO_S, len(values)), np.array(values), np.array(values))
    picture = _picture(_course("larch", curve, harm_c))

    for strand in picture.strands:
        assert re.fullmatch(r"([ML]\d+ -?\d+(\.\d+)?)*", strand.path)
        for part in re.split("[ML]", strand.path)[1:]:
            x, y = (float(number) for number in part.split())
            assert 0 <= x <= 1000
            assert -drawing.SPACE <= y <= drawing.HEIGHT + drawing.SPACE
