"""`plan show`: the limits with their sources, also before there is any settings file."""

import re
import tomllib
from pathlib import Path

import pytest

from monitor import shipped
from tests.cli.place import Command


def test_the_shipped_plans_are_shown_without_settings(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that somebody can look before deciding."""
    monkeypatch.chdir(tmp_path)

    done = aftercare("plan", "show", "heavy-bend")

    assert done.status == 0
    rows = [re.split(r" {2,}", line.strip()) for line in done.out.splitlines()]
    assert ["damage likely below", "0 °C", "the same"] in rows
    assert ["wraps kept wet at most", "14 days", "the same"] in rows
    assert ["Guys", "after 14 days, then every 28 days", "common practice, no source"] in rows
    assert ["too warm counts after", "60 min", "judgement"] in rows


def test_each_number_of_a_plan_stands_in_its_table(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Independent: the numbers of the file, read with tomllib; each is a cell of the table."""
    monkeypatch.chdir(tmp_path)
    plan = tomllib.loads(shipped.text("plans.toml"))["heavy-bend"]
    cells = {
        word.replace("−", "-")
        for line in aftercare("plan", "show", "heavy-bend").out.splitlines()
        for word in line.split()
    }

    numbers = [
        value
        for part in ("fresh", "mending", "hardening")
        for value in plan[part].values()
        if not isinstance(value, str)
    ]
    when = ("after_days", "every_days", "degree_days_k_d")
    numbers += [each[key] for each in plan["follow_ups"] for key in when if key in each]
    assert [number for number in numbers if f"{number:g}" not in cells] == []


def test_every_limit_has_a_source(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For every work and stage."""
    monkeypatch.chdir(tmp_path)

    plans = aftercare("plan", "show", "--json").json

    assert len(plans) == 8
    assert all(stage["source"] for plan in plans for stage in plan["stages"])
    assert all(stage["limits"] for plan in plans for stage in plan["stages"])
