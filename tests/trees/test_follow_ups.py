"""What is due when: by local date, over a change of the clocks, by the plans, the wire and what was found.

Intervals come from the shipped plans ("common practice, no source", as they say themselves); dates below were
counted by hand. Thresholds of warmth for wire are the project's judgement.
"""

from collections.abc import Callable
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.trees.book import Book
from monitor.trees.follow_ups import FollowUpNow, Moment, done_of, follow_up_names, follow_ups_of, moment
from monitor.trees.plans import load_plans
from monitor.trees.species import shipped_species
from monitor.trees.stages import stages_of
from tests.trees.garden import at, grown, larch, said

PLANS = load_plans(None)
LONDON = ZoneInfo("Europe/London")
DAY_S = 86_400.0
BEND = said("work", "2026-01-10T15:00:00Z", work="heavy-bend")
WRAP = said("wrap", "2026-01-10T15:00:00Z", wrap="top", fibre="raffia")
WIRE = said("wire", "2026-01-10T15:30:00Z", part="top", metal="copper", mm=4)


def warmth(now: str, per_day: float = 0.0, begins: str = "2026-01-01") -> Callable[[float], float]:
    """So many degree-days each day from `begins` until now."""
    return lambda from_s: max(0.0, at(now) - max(from_s, at(begins))) / DAY_S * per_day


def present(book: Book, now: str, per_day: float = 0.0, begins: str = "2026-01-01") -> Moment:
    """Larch 3 then."""
    tree = book.trees["larch-3"]
    since = warmth(now, per_day, begins)
    stages = stages_of(tree, PLANS, at(now), since)
    return moment(tree, PLANS, stages, at(now), LONDON, since, shipped_species().find(tree.species))


def asked(book: Book, now: str, per_day: float = 0.0, begins: str = "2026-01-01") -> dict[str, FollowUpNow]:
    """What is asked of Larch 3 then, by name."""
    return {each.name: each for each in follow_ups_of(present(book, now, per_day, begins))}


def on(
    book: Book, name: str, now: str, per_day: float = 0.0, begins: str = "2026-01-01"
) -> tuple[str, str] | None:
    """The date on which that is due, and whether it is coming, due or late; None: not asked."""
    found = asked(book, now, per_day, begins).get(name)
    return None if found is None else (found.due_on.isoformat(), found.status)


@pytest.mark.parametrize(
    ("now", "status"),
    [
        ("2026-01-11T23:30", "coming"),
        ("2026-01-12T00:30", "due"),
        ("2026-01-14T23:30", "due"),
        ("2026-01-15T00:30", "late"),
    ],
)
def test_a_follow_up_is_coming_then_due_then_late(now: str, status: str) -> None:
    """Sealing: two days after the bend of 10 January; late after two days more."""
    assert on(grown(larch(), BEND), "seal-check", now) == ("2026-01-12", status)


def test_a_done_counts_and_the_next_time_follows_from_it() -> None:
    """Cracks on the first and the seventh day; done a day late, the next is six days from then."""
    book = grown(larch(), BEND)
    assert on(book, "crack-check", "2026-01-12") == ("2026-01-11", "due")
    done = grown(said("done", "2026-01-12", follow_up="crack-check"), book=book)
    assert on(done, "crack-check", "2026-01-12T13:00") == ("2026-01-18", "coming")


def test_a_follow_up_ends_with_its_stage() -> None:
    """Fresh is over on 24 January, 15:00."""
    book = grown(larch(), BEND)
    assert on(book, "seal-check", "2026-01-24T14:00") == ("2026-01-12", "late")
    assert on(book, "seal-check", "2026-01-24T16:00") is None
    released = grown(said("release", "2026-01-12", work="heavy-bend"), book=book)
    assert on(released, "seal-check", "2026-01-13") is None


def test_what_is_due_once_is_asked_for_a_month_at_most() -> None:
    """Feeding after 60 days, 11 March; done, it does not come back; forgotten, it lapses."""
    book = grown(larch(), BEND)
    assert on(book, "feed-again", "2026-03-01") == ("2026-03-11", "coming")
    assert on(book, "feed-again", "2026-04-10") == ("2026-03-11", "late")
    assert on(book, "feed-again", "2026-04-11T23:30") is None
    done = grown(said("done", "2026-03-12", follow_up="feed-again"), book=book)
    assert on(done, "feed-again", "2026-03-13") is None


@pytest.mark.parametrize(
    ("work_at", "due_on"),
    [
        # London: clocks forward on 29 March 2026, back on 25 October 2026. Two days after, by the calendar.
        ("2026-03-28T23:30:00Z", "2026-03-30"),
        ("2026-03-28T00:10:00Z", "2026-03-30"),
        ("2026-03-29T23:30:00Z", "2026-04-01"),
        ("2025-10-25T22:30:00Z", "2025-10-27"),
        ("2025-10-24T23:30:00Z", "2025-10-27"),
    ],
)
def test_a_change_of_the_clocks_moves_no_date(work_at: str, due_on: str) -> None:
    """The local day of the work and two days more, never an hour early on the day before."""
    book = grown(larch(at="2025-10-01T10:00:00Z"), said("work", work_at, work="heavy-bend"))
    assert asked(book, work_at[:16].replace(":00Z", ""))["seal-check"].due_on.isoformat() == due_on


def test_touches_are_asked_for_while_a_wrap_must_stay_damp() -> None:
    """A touch written into the book on the day is the check done; no wrap, or a dry one: nothing to feel."""
    book = grown(larch(), BEND, WRAP)
    touched = grown(said("touch", "2026-01-11T08:00:00Z", wrap="top", feel="damp"), book=book)
    assert on(book, "first-touch", "2026-01-11T12:00") == ("2026-01-11", "due")
    assert on(touched, "first-touch", "2026-01-11T12:00") is None
    assert on(touched, "second-touch", "2026-01-11T12:00") == ("2026-01-12", "coming")
    assert on(grown(larch(), BEND), "first-touch", "2026-01-11T12:00") is None
    assert on(grown(larch(), BEND, {**WRAP, "keep": "any"}), "first-touch", "2026-01-11T12:00") is None


def test_a_wrap_is_asked_off_while_it_is_on() -> None:
    """After 42 days, sooner when buds open or mould is found; never once it is off."""
    book = grown(larch(), BEND, WRAP)
    assert on(book, "unwrap", "2026-02-20") == ("2026-02-21", "coming")
    mould = grown(said("finding", "2026-02-01", found="mould", part="top"), book=book)
    assert on(mould, "unwrap", "2026-02-01T13:00") == ("2026-02-02", "coming")
    assert on(
        grown(said("finding", "2026-02-01", found="mould", part="low"), book=book), "unwrap", "2026-02-02"
    ) == (
        "2026-02-21",
        "coming",
    )
    buds = grown(said("finding", "2026-02-10", found="buds-open"), book=book)
    assert on(buds, "unwrap", "2026-02-11") == ("2026-02-17", "coming")
    off = grown(said("unwrap", "2026-02-03", wrap="top"), book=mould)
    assert on(off, "unwrap", "2026-02-04") is None


def test_of_two_works_the_sooner_date_is_asked_once() -> None:
    """Cracks of a heavy and a moderate bend are one look at the tree."""
    book = grown(larch(), BEND, said("work", "2026-01-09T15:00:00Z", work="moderate-bend"))
    found = asked(book, "2026-01-10T16:00")
    assert found["crack-check"].due_on == date(2026, 1, 10)
    assert len(found) == len({each.name for each in found.values()})


def test_a_tree_that_left_asks_for_nothing() -> None:
    """Nor does work that is still to come, or that was voided."""
    book = grown(larch(), BEND)
    assert asked(grown(said("leave", "2026-01-12", reason="sold"), book=book), "2026-01-13") == {}
    void = said("void", "2026-01-12", tree=None, entry=book.entries[-1]["id"], reason="wrong tree")
    assert asked(grown(void, book=book), "2026-01-13") == {}
    assert asked(book, "2026-01-10T12:00") == {}


# ---- wire ----------------------------------------------------------------------------------------------


def test_wire_is_looked_at_every_few_weeks_at_rest() -> None:
    """Three weeks after it was put on, three weeks after each look; the part is named."""
    book = grown(larch(), BEND, WIRE)
    found = asked(book, "2026-01-20")["wire-check"]
    assert (found.due_on, found.part) == (date(2026, 1, 31), "top")
    done = grown(said("done", "2026-02-02", follow_up="wire-check"), book=book)
    assert on(done, "wire-check", "2026-02-03") == ("2026-02-23", "coming")
    of_another_part = grown(said("done", "2026-02-02", follow_up="wire-check", part="low"), book=book)
    assert on(of_another_part, "wire-check", "2026-02-03") == ("2026-01-31", "late")


def test_wire_checks_come_closer_together_as_growth_starts() -> None:
    """From the swelling buds: 100 degree-days to the first look, 50 to the next, here 10 and 5 days."""
    book = grown(
        larch(),
        BEND,
        WIRE,
        said("done", "2026-03-25T12:00:00Z", follow_up="wire-check"),
        said("finding", "2026-03-28T12:00:00Z", found="buds-swelling"),
    )
    assert on(book, "wire-check", "2026-03-30", 10.0, "2026-03-01") == ("2026-04-15", "coming")
    assert on(book, "wire-check", "2026-04-07T13:00", 10.0, "2026-03-01") == ("2026-04-07", "due")
    done = grown(said("done", "2026-04-08T12:00:00Z", follow_up="wire-check"), book=book)
    assert on(done, "wire-check", "2026-04-12T12:00", 10.0, "2026-03-01") == ("2026-04-29", "coming")
    assert on(done, "wire-check", "2026-04-13T13:00", 10.0, "2026-03-01") == ("2026-04-13", "due")


def test_a_date_that_warmth_brought_stays_that_date() -> None:
    """However many days pass before somebody looks."""
    book = grown(larch(), BEND, WIRE, said("finding", "2026-03-28T12:00:00Z", found="buds-swelling"))
    book = grown(said("done", "2026-03-27T12:00:00Z", follow_up="wire-check"), book=book)
    dates = {
        asked(book, f"2026-04-{day:02d}T{hour:02d}:00", 10.0)["wire-check"].due_on
        for day in range(8, 17)
        for hour in (1, 11, 13, 23)
    }
    assert dates == {date(2026, 4, 7)}


@pytest.mark.parametrize(
    ("species", "metal", "due_on"),
    [
        ("Larix decidua", "copper", "2026-04-07"),
        ("Larix decidua", "aluminium", "2026-04-04"),
        ("Acer palmatum", "copper", "2026-04-04"),
        ("Pinus sylvestris", "copper", "2026-04-17"),
    ],
)
def test_thin_bark_and_aluminium_come_sooner_and_a_pines_first_season_later(
    species: str, metal: str, due_on: str
) -> None:
    """70 degree-days instead of 100 after the buds swelled on 28 March; 200, but three weeks at most."""
    book = grown(
        larch(species=species),
        BEND,
        {**WIRE, "metal": metal},
        said("done", "2026-03-27T12:00:00Z", follow_up="wire-check"),
        said("finding", "2026-03-28T12:00:00Z", found="buds-swelling"),
    )
    assert on(book, "wire-check", "2026-04-16T23:00", 10.0) == (
        due_on,
        "late" if due_on < "2026-04-14" else "due",
    )


def test_in_its_second_season_a_pines_wire_is_looked_at_as_any_other() -> None:
    """Wire put on in spring of the year before."""
    book = grown(
        larch(species="Pinus sylvestris", at="2025-03-01T10:00:00Z"),
        {**WIRE, "at": "2025-03-10T12:00:00Z"},
        said("done", "2026-03-27T12:00:00Z", follow_up="wire-check"),
        said("finding", "2026-03-28T12:00:00Z", found="buds-swelling"),
    )
    assert on(book, "wire-check", "2026-04-08", 10.0) == ("2026-04-07", "due")


def test_wire_without_any_work_is_looked_at_too_and_only_while_it_is_on() -> None:
    """A tree that only carries wire, or whose work is long over."""
    book = grown(larch(), WIRE)
    assert on(book, "wire-check", "2026-01-20") == ("2026-01-31", "coming")
    off = grown(said("unwire", "2026-02-20", part="top"), book=grown(larch(), BEND, WIRE))
    assert on(off, "wire-check", "2026-02-21") is None
    released = grown(said("release", "2026-01-12", work="heavy-bend"), book=grown(larch(), BEND, WIRE))
    assert on(released, "wire-check", "2026-01-20") == ("2026-01-31", "coming")


def test_a_work_whose_wire_nobody_wrote_down_is_asked_about_while_it_lasts() -> None:
    """What is not known is not fine."""
    book = grown(larch(), BEND)
    assert on(book, "wire-check", "2026-01-20") == ("2026-01-31", "coming")
    assert (
        on(grown(said("release", "2026-01-12", work="heavy-bend"), book=book), "wire-check", "2026-01-20")
        is None
    )


def test_without_word_of_the_buds_warmth_alone_brings_the_look_sooner() -> None:
    """50 degree-days, 5 a day: ten days after the bend, wire written down or not."""
    for book in (grown(larch(), BEND), grown(larch(), BEND, WIRE)):
        found = asked(book, "2026-01-21", 5.0)["wire-check"]
        assert found.due_on == date(2026, 1, 20)
        assert "50 degree-days of warmth" in found.because


def test_a_bite_wants_the_wire_off_within_days() -> None:
    """Until that wire is off."""
    book = grown(larch(), BEND, WIRE, said("finding", "2026-05-01", found="bite", part="top"))
    found = asked(book, "2026-05-02")["wire-off"]
    assert (found.due_on, found.part, found.because) == (
        date(2026, 5, 4),
        "top",
        "bite was found on 2026-05-01",
    )
    assert on(grown(said("unwire", "2026-05-03", part="top"), book=book), "wire-off", "2026-05-04") is None
    assert (
        on(grown(said("done", "2026-05-03", follow_up="wire-off"), book=book), "wire-off", "2026-05-04")
        is None
    )


def test_a_slack_guy_wants_drawing_in() -> None:
    """And guys are felt while they are on."""
    guy = said("guy", "2026-01-10", part="low", metal="steel")
    book = grown(larch(), BEND, guy)
    assert on(book, "guy-check", "2026-01-20") == ("2026-01-24", "coming")
    slack = grown(said("finding", "2026-01-20", found="slack", part="low"), book=book)
    assert on(slack, "guy-check", "2026-01-20T13:00") == ("2026-01-21", "coming")
    done = grown(said("done", "2026-01-21", follow_up="guy-check"), book=slack)
    assert on(done, "guy-check", "2026-01-22") == ("2026-02-18", "coming")
    assert on(grown(said("unguy", "2026-01-21", part="low"), book=slack), "guy-check", "2026-01-22") is None


# ---- done ----------------------------------------------------------------------------------------------


def test_what_was_done_is_listed_with_what_it_followed() -> None:
    """The same anchor as when it was due: the work, then the time before."""
    book = grown(larch(), BEND)
    due = asked(book, "2026-01-11")["crack-check"]
    notes: list[dict[str, Any]] = [
        said("done", "2026-01-11", follow_up="crack-check", note="none"),
        said("done", "2026-01-18", follow_up="crack-check"),
    ]
    book = grown(*notes[:1], book=book)
    next_due = asked(book, "2026-01-12")["crack-check"]
    book = grown(*notes[1:], book=book)
    first, second = done_of(present(book, "2026-01-20"))
    assert (first.anchor, second.anchor) == (due.anchor, next_due.anchor)
    assert (first.status, first.label, first.note, first.done_on) == (
        "done",
        "Cracks",
        "none",
        date(2026, 1, 11),
    )


def test_everything_that_can_be_due_can_be_done() -> None:
    """The names of all plans, and those that findings bring."""
    names = follow_up_names(PLANS)
    assert {"wire-check", "wire-off", "unwrap", "guy-check", "first-touch", "harden-off"} <= names


def test_every_work_of_the_plans_gives_dates_without_trouble() -> None:
    """Through a whole year, with wire, wrap and guy on."""
    for work in PLANS.works:
        book = grown(larch(), {**BEND, "work": work}, WRAP, WIRE)
        for month in range(1, 13):
            for each in follow_ups_of(present(book, f"2026-{month:02d}-11", 2.0)):
                assert each.because
                assert each.source
                assert each.status in ("coming", "due", "late")
