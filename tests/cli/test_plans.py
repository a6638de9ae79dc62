"""`plan show`: the limits with their sources, also before there is any settings file."""

from pathlib import Path

import pytest

from tests.cli.place import Command


def test_the_shipped_plans_are_shown_without_settings(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that somebody can look before deciding."""
    monkeypatch.chdir(tmp_path)

    done = aftercare("plan", "show", "heavy-bend")

    assert done.status == 0
    assert "damage likely below 0 °C" in done.out
    assert "source of fresh: " in done.out


def test_every_limit_has_a_source(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For every work and stage."""
    monkeypatch.chdir(tmp_path)

    plans = aftercare("plan", "show", "--json").json

    assert len(plans) == 8
    assert all(stage["source"] for plan in plans for stage in plan["stages"])
    assert all(stage["limits"] for plan in plans for stage in plan["stages"])
