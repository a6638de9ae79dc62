"""Warm days that cost hardiness, and wraps that freeze: by the hour, with the air that a test says."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from monitor.watches import make_watches
from tests.engine.house import House, sensor, settings_of

BEGINS = "2027-01-14 00:00"
PRUNED = {"at": "2027-01-10T10:00:00Z", "kind": "work", "tree": "larch-3", "work": "hard-prune"}
LARCH = {
    "at": "2027-01-01T09:00:00Z",
    "kind": "tree",
    "tree": "larch-3",
    "name": "Larch 3",
    "sensor": "bench-a",
}
WARM, FREEZING = "warm-spell/larch-3", "wrap-freezing/larch-3"


def house_of(*entries: Mapping[str, Any], keep: Path | None = None) -> House:
    """One bench that reports every ten minutes, all watches at work."""
    settings = settings_of({"bench-a": sensor("bench-a", 600.0)})
    return House(settings, [LARCH, *entries], BEGINS, keep, watches=make_watches)


def weather(house: House, until: str, value_c: float, rh_pct: float | None = 70.0) -> None:
    """The bench reports about a value until then."""
    until_s, step = house.at(until), 0
    while house.now_s + 600.0 <= until_s + 1.0:
        step += 1
        house.reading(value_c + 0.02 * (step % 5), house.now_s // 600.0 * 600.0 + 600.0, rh_pct=rh_pct)


def limits(house: House) -> Mapping[str, float]:
    """The limits of Larch 3 that hold now."""
    return house.engine.guarding.trees["larch-3"].limits


# ---- warm spells -------------------------------------------------------------------------------------------


def test_two_days_of_ten_degrees_raise_limits_below_zero_by_two_degrees() -> None:
    """Hardiness is lost in mild days; fresh hard pruning bears −5 °C before, −3 °C after."""
    house = house_of(PRUNED)
    before = dict(limits(house))
    weather(house, "01-16 01:00", 11.0)

    assert before["low_harm_c"] == -5.0
    assert limits(house)["low_harm_c"] == -3.0
    assert house.state(WARM) == "unacknowledged"


def test_a_longer_or_warmer_spell_raises_them_by_three() -> None:
    """Three days, or thirteen degrees."""
    longer, warmer = house_of(PRUNED), house_of(PRUNED)
    weather(longer, "01-17 01:00", 11.0)
    weather(warmer, "01-16 01:00", 13.5)

    assert limits(longer)["low_harm_c"] == limits(warmer)["low_harm_c"] == -2.0


def test_one_warm_day_or_two_mild_ones_raise_nothing() -> None:
    """A single noon costs nothing."""
    single, mild = house_of(PRUNED), house_of(PRUNED)
    weather(single, "01-15 00:00", 14.0)
    weather(single, "01-16 01:00", 5.0)
    weather(mild, "01-16 01:00", 9.5)

    assert limits(single)["low_harm_c"] == limits(mild)["low_harm_c"] == -5.0
    assert single.state(WARM) == mild.state(WARM) == "normal"


def test_limits_never_rise_past_zero() -> None:
    """A warning limit of −1 °C stops at zero; what is zero or above stays as it is."""
    house = house_of(PRUNED)
    assert limits(house)["low_warn_c"] == -1.0
    weather(house, "01-16 01:00", 11.0)

    assert limits(house)["low_warn_c"] == 0.0


def test_a_limit_that_somebody_set_stands() -> None:
    """A person's own word is not moved by the weather."""
    own = {"at": "2027-01-02T10:00:00Z", "kind": "limit", "tree": "larch-3", "limit": "low_harm_c",
           "value": -4.0, "reason": "came through −6 last year"}  # fmt: skip
    house = house_of(PRUNED, own)
    weather(house, "01-16 01:00", 11.0)

    assert limits(house)["low_harm_c"] == -4.0


def test_after_three_nights_they_are_as_before() -> None:
    """The spell's last day was the 15th: the nights that begin on the 15th, 16th and 17th count."""
    house = house_of(PRUNED)
    weather(house, "01-16 00:00", 11.0)
    weather(house, "01-18 09:00", 4.0)
    assert limits(house)["low_harm_c"] == -3.0

    weather(house, "01-18 13:00", 4.0)
    assert limits(house)["low_harm_c"] == -5.0
    row = house.row(WARM)
    assert row is None or not row.active


def test_it_never_rings_and_is_read_in_the_report() -> None:
    """The grower reads in the morning why the limits moved."""
    house = house_of(PRUNED)
    weather(house, "01-16 07:00", 11.0)

    assert house.said("warm-spell") == []
    text = " ".join(house.reports[-1].text.split())
    assert "warm days cost hardiness at Larch 3" in text
    assert "its frost limits below zero count 2.0 degrees higher until Mon 18 Jan" in text
    assert "damage likely below −3 °C" in text


def test_status_shows_where_limits_are_raised() -> None:
    """Until when, and by how much."""
    house = house_of(PRUNED)
    weather(house, "01-16 07:00", 11.0)

    (spell,) = house.engine.snapshot().more["warm_spells"]
    assert (spell["sensor"], spell["raised_k"], spell["until"]) == ("bench-a", 2.0, "2027-01-18")


def test_frost_after_a_warm_spell_rings_by_the_raised_limit() -> None:
    """Four below zero would have been borne before."""
    house = house_of(PRUNED)
    weather(house, "01-16 01:00", 11.0)
    weather(house, "01-16 02:00", -3.5)

    row = house.row()
    assert row is not None
    assert str(row.priority) == "high"
    assert row.limit == -3.0


def test_a_restart_forgets_no_warm_day(tmp_path: Path) -> None:
    """The days are kept."""
    house = house_of(PRUNED, keep=tmp_path)
    weather(house, "01-15 12:00", 11.0)
    house.restart()
    weather(house, "01-16 01:00", 11.0)

    assert limits(house)["low_harm_c"] == -3.0


# ---- wraps -------------------------------------------------------------------------------------------------


def bent(cover: str, *, at: str = "2027-01-14T01:00:00Z", **wrap: Any) -> list[dict[str, Any]]:
    """A heavy bend under a wrap that is kept damp."""
    facts = {"kind": "wrap", "tree": "larch-3", "wrap": "first-branch", "fibre": "raffia", "branch_mm": 20,
             "thickness_mm": 3.0}  # fmt: skip
    work = {"at": at, "kind": "work", "tree": "larch-3", "work": "heavy-bend"}
    return [work, {"at": at, **facts, "cover": cover, **wrap}]


def freezing_from(house: House) -> float | None:
    """When the alarm of a freezing wrap came up."""
    rises = [t.at_s for t in house.transitions_seen if t.alarm == FREEZING and t.because == "condition"]
    return rises[0] if rises else None


def test_a_wet_wrap_in_frost_is_told_of_before_it_is_frozen_through() -> None:
    """Two degrees of frost; its water takes hours to freeze."""
    house = house_of(*bent("none"))
    weather(house, "03:00", 5.0, 90.0)
    weather(house, "15:00", -2.0, 90.0)

    rose_s = freezing_from(house)
    assert rose_s is not None
    assert 0.5 * 3600.0 < rose_s - house.at("2027-01-14 03:00") < 8 * 3600.0


def test_colder_air_freezes_it_sooner() -> None:
    """It is cold by hours that counts, not the first touch of zero."""
    mild, hard = house_of(*bent("none")), house_of(*bent("none"))
    for house, value_c in ((mild, -1.5), (hard, -5.0)):
        weather(house, "03:00", 5.0, 90.0)
        weather(house, "23:00", value_c, 90.0)

    mild_s, hard_s = freezing_from(mild), freezing_from(hard)
    assert mild_s is not None
    assert hard_s is not None
    assert hard_s < mild_s


def test_a_short_dip_below_zero_freezes_nothing() -> None:
    """Half an hour at one degree of frost."""
    house = house_of(*bent("none"))
    weather(house, "03:00", 4.0, 95.0)
    weather(house, "03:30", -1.0, 95.0)
    weather(house, "06:00", 4.0, 95.0)

    assert freezing_from(house) is None


def test_a_bare_wet_wrap_freezes_in_dry_air_above_zero() -> None:
    """At 1.5 °C and half-dry air its surface stands below zero; under tape it follows the air and does not.

    Independent: psychrolib's wet bulb of 1.2 °C and 45 % is −2.3 °C.
    """
    bare, taped = house_of(*bent("none")), house_of(*bent("tape-overlapped"))
    for house in (bare, taped):
        weather(house, "03:00", 8.0, 90.0)
        weather(house, "23:50", 1.2, 45.0)

    assert freezing_from(bare) is not None
    assert freezing_from(taped) is None


def test_a_taped_wrap_freezes_in_frost_all_the_same() -> None:
    """The air itself is below zero."""
    house = house_of(*bent("tape-overlapped"))
    weather(house, "03:00", 5.0, 90.0)
    weather(house, "23:00", -4.0, 90.0)

    assert freezing_from(house) is not None


def test_it_says_which_wrap_how_far_and_that_nobody_may_touch_it() -> None:
    """Ice is brittle, and water on it is more ice."""
    house = house_of(*bent("none"))
    weather(house, "03:00", 5.0, 90.0)
    weather(house, "15:00", -3.0, 90.0)

    change = next(t for t in house.transitions_seen if t.alarm == FREEZING)
    assert "the wrap first-branch at Larch 3 is freezing: wet and bare it stands at −" in change.cause
    assert "of its water would be ice by now" in change.consequence
    assert "cover the branch with dry fleece" in change.action
    assert "Do not touch, bend or carry frozen branches" in change.action
    assert "wet them tomorrow after 10:00" in change.action
    assert "No burner or charcoal in a shut house" in change.action


def test_it_is_over_when_it_has_thawed_not_when_the_air_turns() -> None:
    """The ice must melt first."""
    house = house_of(*bent("none"))
    weather(house, "03:00", 5.0, 90.0)
    weather(house, "15:00", -3.0, 90.0)
    weather(house, "15:30", 1.0, 95.0)
    row = house.row(FREEZING)
    assert row is not None
    assert row.active

    weather(house, "2027-01-15 06:00", 6.0, 95.0)
    row = house.row(FREEZING)
    assert row is None or not row.active


@pytest.mark.parametrize("what", ["silence", "retained"])
def test_what_is_not_known_ends_nothing(what: str) -> None:
    """Neither no reading nor one of unknown age."""
    house = house_of(*bent("none"))
    weather(house, "03:00", 5.0, 90.0)
    weather(house, "15:00", -3.0, 90.0)
    if what == "retained":
        house.reading(9.0, retain=True, rh_pct=90.0)
    house.passes("21:00")

    row = house.row(FREEZING)
    assert row is not None
    assert row.active


def test_a_wrap_that_only_had_to_make_wood_pliable_is_not_watched() -> None:
    """Wet for an hour, then dry under the wire for months; the work is light wiring."""
    work = {"at": "2027-01-14T01:00:00Z", "kind": "work", "tree": "larch-3", "work": "light-wiring"}
    house = house_of(work, *bent("none", keep="any")[1:])
    weather(house, "03:00", 5.0, 90.0)
    weather(house, "15:00", -4.0, 90.0)

    assert freezing_from(house) is None
