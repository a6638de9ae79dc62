"""Stages by date: days, warmth, several works, voids, moves, a change of the clocks.

The days and degree-days come from the shipped plans; the dates below were counted by hand from them. The
lengthening by half for several works is the project's rule (judgement), as is what a hardened flush does.
"""

from collections.abc import Callable
from typing import Any

import pytest

from monitor.trees.book import Book
from monitor.trees.plans import load_plans
from monitor.trees.stages import StageNow, is_tender, stages_of, wrap_keep
from tests.trees.garden import at, grown, larch, said

PLANS = load_plans(None)
DAY_S = 86_400.0
BEND = "2026-01-10T15:00:00Z"


def even(per_day: float, until: str) -> Callable[[float], float]:
    """So many degree-days every day, up to an instant."""
    return lambda from_s: max(0.0, at(until) - from_s) / DAY_S * per_day


def stages(book: Book, now: str, per_day: float | None = 100.0) -> list[StageNow]:
    """The stages of Larch 3 then; None: nobody knows how warm it was."""
    warmth = (lambda _from_s: None) if per_day is None else even(per_day, now)
    return list(stages_of(book.trees["larch-3"], PLANS, at(now), warmth))


def stage(book: Book, now: str, per_day: float | None = 100.0) -> str:
    """The stage of its first work."""
    return stages(book, now, per_day)[0].stage


HEAVY = grown(larch(), said("work", BEND, work="heavy-bend"))


@pytest.mark.parametrize(
    ("now", "per_day", "expected", "day"),
    [
        ("2026-01-10T15:00", 100.0, "fresh", 0),
        ("2026-01-24T14:59", 100.0, "fresh", 13),
        ("2026-01-24T15:00", 100.0, "mending", 14),
        # 60 days after 10 January is 11 March; over that the days are done, and warmth decides.
        ("2026-03-11T14:59", 100.0, "mending", 59),
        ("2026-03-11T15:00", 1.0, "mending", 60),
        ("2026-03-11T15:00", 2.0, "hardening", 60),
        # Clocks go forward in Britain on 29 March: stages last elapsed days, not dates.
        ("2026-03-29T00:00", 1.3, "hardening", 77),
        ("2026-03-29T12:00", 1.28, "mending", 77),
        ("2026-03-30T15:00", 1.27, "hardening", 79),
        ("2026-05-01T15:00", 3.0, "hardening", 111),
        ("2026-05-01T15:00", 3.2, "released", 111),
        ("2026-05-01T15:00", None, "mending", 111),
    ],
)
def test_a_stage_ends_at_the_later_of_its_days_and_its_warmth(
    now: str, per_day: float | None, expected: str, day: int
) -> None:
    """Heavy bend: 14 days; 60 days and 100 degree-days; 60 days and 350. Unknown warmth ends nothing."""
    (found,) = stages(HEAVY, now, per_day)
    assert (found.stage, found.day) == (expected, day)


def test_each_stage_says_why() -> None:
    """In words a person can check."""
    assert stages(HEAVY, "2026-01-15T15:00")[0].because == "day 5 of 14"
    assert (
        stages(HEAVY, "2026-03-11T15:00", 1.0)[0].because == "day 60 of 60, 60 of 100 degree-days above 5 °C"
    )
    assert stages(HEAVY, "2026-03-11T15:00", None)[0].because == (
        "day 60 of 60; how warm it was is not known, and 100 degree-days are asked for"
    )
    assert stages(HEAVY, "2026-05-01T15:00", 3.2)[0].because == (
        "all its stages are over: day 111 of 60, 355 of 350 degree-days above 5 °C"
    )


def test_a_stage_says_when_its_days_end() -> None:
    """The next instant at which it can change without anybody's word."""
    assert stages(HEAVY, "2026-01-15T15:00")[0].days_end_at_s == at("2026-01-24T15:00")


def test_two_works_take_the_longer_time_half_as_long_again() -> None:
    """Heavy bend 14 days, roots cut 21: both fresh for 31.5; mending to 90 days and 225 degree-days."""
    book = grown(larch(), said("work", BEND, work="heavy-bend"), said("work", BEND, work="root-prune"))
    for now, per_day, expected in (
        ("2026-02-11T02:59", 100.0, "fresh"),
        ("2026-02-11T03:00", 100.0, "mending"),
        ("2026-04-10T15:00", 2.4, "mending"),
        ("2026-04-10T15:00", 2.6, "hardening"),
    ):
        assert [found.stage for found in stages(book, now, per_day)] == [expected, expected], now
    because = stages(book, "2026-02-01T00:00")[0].because
    assert because == (
        "day 21 of 31.5; with roots cut on the same tree it takes the longer time, half as long again"
    )


def test_a_work_that_comes_later_does_not_bring_an_ended_stage_back() -> None:
    """Fresh was over on day 14; a root prune on day 20 lengthens only what still runs."""
    book = grown(HEAVY_ENTRIES[0], HEAVY_ENTRIES[1], said("work", "2026-01-30", work="root-prune"))
    bend, roots = stages(book, "2026-02-01T00:00")
    assert (bend.stage, bend.days) == ("mending", 90)
    assert (roots.stage, roots.days) == ("fresh", 31.5)


HEAVY_ENTRIES = (larch(), said("work", BEND, work="heavy-bend"))


def test_a_work_that_was_over_lengthens_nothing() -> None:
    """Light wiring in autumn was over long before the bend."""
    book = grown(
        larch(), said("work", "2025-11-01", work="light-wiring"), said("work", BEND, work="heavy-bend")
    )
    assert [found.stage for found in stages(book, "2026-01-24T15:00")] == ["released", "mending"]
    released = grown(
        larch(),
        said("work", "2026-01-08", work="root-prune"),
        said("release", "2026-01-09", work="root-prune"),
        said("work", BEND, work="heavy-bend"),
    )
    assert [found.stage for found in stages(released, "2026-01-24T15:00")] == ["released", "mending"]


def test_the_same_work_twice_on_one_day_is_one_session() -> None:
    """Two branches bent in one sitting are not two insults; bent a week later, they are."""
    one = grown(*HEAVY_ENTRIES, said("work", "2026-01-10T17:00:00Z", work="heavy-bend", note="third branch"))
    assert [found.days for found in stages(one, "2026-01-11")] == [14, 14]
    two = grown(*HEAVY_ENTRIES, said("work", "2026-01-17", work="heavy-bend", note="third branch"))
    assert [found.days for found in stages(two, "2026-01-18")] == [21, 21]


def test_a_voided_work_lengthens_nothing_and_a_backdated_one_does() -> None:
    """Stages follow the book, however late it was written."""
    book = grown(*HEAVY_ENTRIES, said("work", BEND, work="root-prune"))
    void = said("void", "2026-01-12", tree=None, entry=book.entries[-1]["id"], reason="that was the yew")
    assert [found.days for found in stages(grown(void, book=book), "2026-01-15")] == [14]
    backdated = grown(said("work", "2026-01-05", work="hard-prune"), book=HEAVY)
    assert [found.days for found in stages(backdated, "2026-01-15")] == [21, 21]


def test_the_persons_word_releases_at_once() -> None:
    """Recorded, dated, and only for that work."""
    book = grown(
        *HEAVY_ENTRIES,
        said("work", "2026-01-11", work="hard-prune"),
        said("release", "2026-01-20T08:00:00Z", work="heavy-bend"),
    )
    bend, prune = stages(book, "2026-01-21")
    assert (bend.stage, bend.because) == ("released", "you said so on 2026-01-20")
    assert prune.stage == "fresh"
    assert stages(book, "2026-01-20T07:59")[0].stage == "fresh"


def test_work_still_to_come_has_no_stage() -> None:
    """At an instant before it was done."""
    assert stages(HEAVY, "2026-01-10T14:59") == []


@pytest.mark.parametrize(
    ("work", "flushes", "expected"),
    [
        ("heavy-bend", ["2026-06-01"], "released"),
        ("heavy-bend", ["2026-01-05"], "hardening"),
        ("heavy-bend", [], "hardening"),
        ("root-prune", ["2026-06-01"], "released"),
    ],
)
def test_a_hardened_flush_stands_for_the_warmth_of_hardening(
    work: str, flushes: list[str], expected: str
) -> None:
    """Eyes stand over the sum; a flush before the work says nothing."""
    found: list[dict[str, Any]] = [said("finding", day, found="flush-hard") for day in flushes]
    book = grown(larch(), said("work", BEND, work=work), *found)
    assert stage(book, "2026-06-10", 1.5) == expected


def test_a_collected_tree_needs_two_flushes_and_its_year() -> None:
    """Two notes of the same flush are one; the days stand in any case."""
    entries = [larch(at="2024-12-01T10:00:00Z"), said("work", "2025-01-10", work="collected")]
    flushes = [said("finding", day, found="flush-hard") for day in ("2025-06-01", "2025-06-20", "2025-09-01")]
    assert stage(grown(*entries, *flushes[:2]), "2026-01-20", 1.0) == "hardening"
    assert stage(grown(*entries, *flushes), "2026-01-20", 1.0) == "released"
    assert stage(grown(*entries, *flushes), "2026-01-05", 1.0) == "hardening"


def test_warmth_mends_only_by_itself() -> None:
    """A hardened flush does not stand for the warmth of an earlier stage."""
    book = grown(*HEAVY_ENTRIES, said("finding", "2026-05-01", found="flush-hard"))
    assert stage(book, "2026-05-10", 0.5) == "mending"


def test_a_tree_is_tender_while_any_work_asks_for_care() -> None:
    """Released by all: not tender."""
    book = grown(*HEAVY_ENTRIES, said("release", "2026-01-20", work="heavy-bend"))
    assert is_tender(stages(book, "2026-01-15"))
    assert not is_tender(stages(book, "2026-01-21"))
    assert not is_tender([])


@pytest.mark.parametrize(
    ("work", "wrap", "now", "keep"),
    [
        ("heavy-bend", {"fibre": "raffia"}, "2026-01-20", "damp"),
        ("heavy-bend", {"fibre": "raffia"}, "2026-01-30", "any"),
        ("heavy-bend", {"fibre": "raffia", "keep": "any"}, "2026-01-20", "any"),
        ("light-wiring", {"fibre": "raffia", "keep": "damp"}, "2026-01-20", "damp"),
        ("moderate-bend", {"fibre": "raffia"}, "2026-01-12", "any"),
        ("moderate-bend", {"fibre": "sphagnum"}, "2026-01-30", "damp"),
        ("graft", {"fibre": "cloth"}, "2026-02-28", "damp"),
    ],
)
def test_a_wrap_is_kept_damp_where_it_must_be(work: str, wrap: dict[str, str], now: str, keep: str) -> None:
    """The person's word; else sphagnum, grafts, and heavy bends while fresh."""
    book = grown(larch(), said("work", BEND, work=work), said("wrap", BEND, wrap="top", **wrap))
    assert wrap_keep(book.trees["larch-3"].wraps[0], stages(book, now)) == keep
