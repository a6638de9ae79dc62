"""Plans: the shipped numbers, a partial file over them, and broken ones.

The numbers of TABLE are judgement, no source, as the table they come from says itself: this holds the shipped
file to that table, and proves nothing about trees.
"""

import tomllib
from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.trees.kinds import LIMIT_KEYS as KEYS_OF_THE_BOOK
from monitor.trees.plan_checks import LIMIT_KEYS, STAGES, WORKS
from monitor.trees.plans import load_plans

# work stage | days degree-days | low warn harm | high warn harm | vpd | root warn harm | wrap min max
TABLE = """
collected     fresh      60   -     0   -3   22  28  0.6   1  -1   -  -
collected     mending    120  200  -1   -4   24  30  0.8   0  -2   -  -
collected     hardening  365  600  -3   -7   26  32  1.2  -1  -4   -  -
light-wiring  fresh      7    -    -4   -10  24  30  1.5   -   -   -  -
moderate-bend fresh      14   -    -1   -4   22  28  1.0   -   -   1  3
moderate-bend mending    42   60   -2   -6   24  30  1.2   -   -   -  -
heavy-bend    fresh      14   -    1.5  0    22  30  0.8   -   -   3  14
heavy-bend    mending    60   100  0    -2   24  30  1.0   -   -   0  21
heavy-bend    hardening  60   350  -2   -5   24  30  1.2   -   -   -  -
root-prune    fresh      21   -    -1   -3   22  28  0.7   1  -1   -  -
root-prune    mending    56   150  -2   -5   24  30  1.0   0  -2   -  -
root-prune    hardening  56   350  -3   -7   25  30  1.2  -1  -4   -  -
hard-prune    fresh      14   -    -1   -5   22  28  1.2   -   -   -  -
hard-prune    mending    42   80   -2   -7   24  30  1.2   -   -   -  -
deadwood      fresh      14   -    -4   -8   26  32  1.5   -   -   -  -
deadwood      mending    60   -    -4   -8   26  32  1.5   -   -   -  -
graft         fresh      42   150   5   1    26  30  0.4   -   -   -  -
graft         hardening  63   150   2   0    28  32  0.8   -   -   -  -
"""
ROWS = [line.split() for line in TABLE.split("\n") if line]
COLUMNS = ("days", "degree_days_k_d", *LIMIT_KEYS, "wrap_wet_min_days", "wrap_wet_max_days")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}-{row[1]}")
def test_the_shipped_plans_hold_the_numbers_of_the_table(row: list[str]) -> None:
    """Judgement, no source: every number of every stage, and no limit that the table leaves out."""
    stage = load_plans(None).works[row[0]].stage(row[1])

    assert stage is not None
    found = [stage.limits[key] if key in LIMIT_KEYS else getattr(stage, key) for key in COLUMNS]
    assert found == [None if word == "-" else float(word) for word in row[2:]]


def test_the_shipped_plans_hold_no_stage_beyond_the_table() -> None:
    """In the order of the stages."""
    plans = load_plans(None)

    found = [[work, stage.name] for work, plan in plans.works.items() for stage in plan.stages]
    assert found == [row[:2] for row in ROWS]
    assert tuple(plans.works) == WORKS


def test_every_number_carries_its_source() -> None:
    """Shown wherever the number is."""
    plans = load_plans(None)
    sources = [plans.defaults.source]
    for plan in plans.works.values():
        sources += [part.source for part in (*plan.stages, *plan.follow_ups)]

    assert all("judgement" in source or "common practice, no source" in source for source in sources)


def test_the_holds_for_all_works_are_those_of_the_table() -> None:
    """Judgement, no source."""
    defaults = load_plans(None).defaults

    assert (defaults.high_warn_hold_min, defaults.high_harm_hold_min, defaults.vpd_hold_h) == (60, 30, 2)


def test_follow_ups_never_ask_to_handle_or_to_warm_what_is_frozen() -> None:
    """Every text that speaks of frost says not to."""
    for plan in load_plans(None).works.values():
        for follow_up in plan.follow_ups:
            text = follow_up.text.lower()
            assert "warm room" not in text
            if "frozen" in text:
                assert "not while" in text or "never while" in text, follow_up.text


def test_the_book_and_the_plans_know_the_same_limits() -> None:
    """A person's own limit stands over one of a plan."""
    assert KEYS_OF_THE_BOOK == LIMIT_KEYS


def test_a_work_of_ones_own_replaces_the_shipped_one_whole(tmp_path: Path) -> None:
    """What it leaves out is not held; other works and defaults stay."""
    path = tmp_path / "plans.toml"
    path.write_text(
        "[defaults]\nvpd_hold_h = 3\n[graft]\nlabel = 'My grafts'\n"
        "[graft.fresh]\ndays = 30\nlow_warn_c = 6\nsource = 'my own'\n"
    )

    plans, shipped = load_plans(path), load_plans(None)

    assert [stage.name for stage in plans.works["graft"].stages] == ["fresh"]
    assert plans.works["graft"].stages[0].limits["low_warn_c"] == 6
    assert plans.works["graft"].stages[0].limits["low_harm_c"] is None
    assert plans.works["graft"].follow_ups == ()
    assert plans.works["heavy-bend"] == shipped.works["heavy-bend"]
    assert plans.defaults.vpd_hold_h == 3
    assert plans.defaults.high_warn_hold_min == 60


BROKEN = tomllib.loads(Path(__file__).with_name("broken_plans.toml").read_text(encoding="utf-8"))["broken"]


@pytest.mark.parametrize("row", BROKEN, ids=lambda row: row["name"])
def test_a_broken_plan_is_refused_with_file_line_key_and_what_to_do(
    tmp_path: Path, row: dict[str, str]
) -> None:
    """One sentence each, in these words."""
    path = tmp_path / "plans.toml"
    path.write_text(row["plans"])

    with pytest.raises(SettingsError) as caught:
        load_plans(path)

    assert str(caught.value) == f"{path}, {row['words']}"


def test_all_problems_of_a_plan_are_told_at_once(tmp_path: Path) -> None:
    """Across works."""
    path = tmp_path / "plans.toml"
    path.write_text("[grfat]\nlabel = 'x'\n[deadwood]\nlabel = 3\n")

    with pytest.raises(SettingsError) as caught:
        load_plans(path)

    assert [problem.key for problem in caught.value.problems] == ["grfat", "deadwood.label", "deadwood"]


def test_stages_end_with_the_words_of_the_design() -> None:
    """`fresh`, `mending`, `hardening`, in this order."""
    assert STAGES == ("fresh", "mending", "hardening")
