"""Tonight, the forecasts' record, the week on Sundays, and what is said of single trees.

Independent: facts by hand, and what follows from them counted beside them.
"""

from collections.abc import Callable
from dataclasses import replace

from monitor.report.facts import Death, LastLows, Margin, Outlook, Skill, TreeWeek, Week
from monitor.report.value import Mark
from tests.report.facts import at, report, tree
from tests.report.nights import Played

OF_ONE = "of 1 nobody has said whether it was worth it (the page asks)"
LARCH = "48 min beyond its damage limit, 3 h 24 min colder than where it is tender, 2 h not seen"
INSIDE = "stayed inside all limits"


def test_rooms_that_can_look_ahead_slot_in() -> None:
    """Outlook, record and week as typed facts."""
    skill = Skill("bench-a", 14, 11, 1.2, rival_off_by_k=1.8)
    said = report(
        outlook=(
            Outlook("bench-a", "between −3.1 °C and −0.4 °C, most likely −1.8 °C", (("Larch 3", 0.0, 0.31),)),
        ),
        skill=(skill,),
        week=Week(
            (
                TreeWeek("Larch 3", -1.2, 0.8, 3.4, 0.0, 2.0, 12.0),
                TreeWeek("Yew 2", 2.0, 0.0, 0.0, 0.0, 0.0, 14.0),
                TreeWeek("Pine 1", 1.8, 0.0, 0.0, 0.0, 0.0, 13.0),
            ),
            rang=4,
            worth=2,
            not_worth=1,
            skill=(replace(skill, nights=7, within=6),),
        ),
    )

    assert said.tonight == (
        "bench-a: lowest between −3.1 °C and −0.4 °C, most likely −1.8 °C; Larch 3 below 0 °C: about 3 in 10",
    )
    (record,) = said.skill
    assert record.startswith("bench-a: of the last 14 nights 11 kept within what was said (8 in 10 should); ")
    assert record.endswith(
        "the low was 1.2 degrees off, this evening less the usual fall would have been 1.8 degrees"
    )
    assert said.week == (
        f"it rang 4 times: 2 were worth it, 1 was not worth it, {OF_ONE}",
        "bench-a: 6 of 7 nights kept within what was said; on average the low was 1.2 degrees off",
        f"Larch 3: coldest −1.2 °C, {LARCH}; 12 degree-days of warmth above 5 °C",
        f"the other 2 trees {INSIDE}; the coldest was 1.8 °C; up to 14 degree-days of warmth above 5 °C",
    )


def test_a_week_that_rang_nobody_says_so_and_only_sunday_tells_it() -> None:
    """Nothing rang is an answer; on other days there is no such section."""
    assert report(week=Week((), 0, 0)).week == ("it rang nobody",)
    assert report().week == ()


def test_as_long_as_tonight_is_not_foreseen_what_is_known_is_said() -> None:
    """The last nights and a weather service, each as what it is; nothing is foretold from them."""
    known = LastLows("Cold house", "bench-a", (3.7, -0.4), -5.0)

    first, second = report(last_lows=(known,)).tonight
    assert first.startswith("an outlook is made this evening")
    assert second == (
        "Cold house: in the last 2 nights, this one first, bench-a came down to 3.7 °C and −0.4 °C; "
        "a weather service says −5.0 °C outside for tonight"
    )


def test_who_may_leave_and_what_died_stand_below_the_trees() -> None:
    """Names, and where to look first: the worst hours before the finding."""
    died = Death("yew-2", "Yew 2", "dieback", "first-branch", at("17 02:00"), at("17 05:00"), -3.1, -1.0)
    said = report(leaving=("Larch 3",), deaths=(died,)).tree_notes

    dead, ready = said
    assert dead.startswith("Yew 2, dieback of first branch: its worst hours before were 02:00–05:00")
    assert dead.endswith('"aftercare tree show yew-2" has its whole record')
    assert ready.startswith("ready to leave the house for good: Larch 3; the works are over")


def test_roots_have_their_margin_too() -> None:
    """Nearer to its root limit than to any of the air; cool roots alone mean nothing to a tree at ease."""
    pot = (Margin("low", "warn", 2.0, 1.0, at("17 04:00"), 3600.0, "pot"),)
    tender = report(trees=(replace(tree(), margins=(*tree().margins, *pot)),)).trees[0]
    at_ease = report(trees=(replace(tree(), works=(), margins=pot),)).trees[0]

    assert tender.mark is Mark.CLOSE
    assert "roots tender below 2 °C for 1 h" in tender.margin
    assert at_ease.mark is Mark.EASY


def test_too_few_nights_are_no_record() -> None:
    """A forecast that was right twice proves nothing."""
    assert report(skill=(Skill("bench-a", 4, 4, 0.3, is_enough=False),)).skill == (
        "too few nights to tell yet (4 so far)",
    )


def test_a_played_week_is_told_on_its_sunday_alone(played: Callable[[str], Played]) -> None:
    """Seven mornings; the heater failed in one night, which rang, and the grower said that it was worth it.

    Two episodes rang: the frost, and the root-ball of a pine whose roots are tender below 2 °C.
    """
    reports = played("sunday").reports
    told = [report.date for report in reports if "The week that was" in report.text]
    week = " ".join(reports[-1].text.split("The week that was")[1].split())

    assert [len(reports), told] == [7, ["2027-01-17"]]
    assert "it rang 2 times: 1 was worth it, of 1 nobody has said" in week
    assert "Larch 3: coldest −2.5 °C" in week
    assert "bench-a: 5 of 6 nights kept within what was said" in week


def test_roots_past_their_limit_ask_for_a_slow_thaw() -> None:
    """It is the pot that is told and asked about, not bark and buds."""
    pot = Margin("low", "harm", -1.0, -1.6, at("17 05:00"), 7200.0, "pot")
    said = report(trees=(replace(tree(), margins=(*tree().margins, pot)),))

    assert said.verdict == "Frost reached Larch 3: pot −1.6 °C at 05:00, roots damaged below −1 °C."
    assert said.today[0].about == "Larch 3"
    assert said.today[0].what.startswith("let the pot thaw slowly where it stands")
    assert said.trees[0].margin == "up to 0.6 degrees too cold, 2 h in all (roots damaged below −1 °C)"
