"""deploy/RUNBOOK.md says the truth: every alarm of the guard's own is in it, and every command exists."""

import re
import shlex

import pytest
import typer

from monitor.cli.commands import make_app
from tests.deploy.unit_file import DEPLOY

TEXT = (DEPLOY / "RUNBOOK.md").read_text(encoding="utf-8")
OWN_ALARMS = (
    "broker-lost", "sensor-silent", "sensor-doubtful", "battery-low", "unwatched", "was-off",
    "storage-failing", "delivery-failing", "clock-doubtful", "restarting",
)  # fmt: skip
SPANS = [
    *re.findall(r"`((?:sudo )?aftercare [^`]+)`", TEXT),
    *re.findall(r"^    ((?:sudo )?aftercare .+)$", TEXT, re.MULTILINE),
]


@pytest.mark.parametrize("alarm", OWN_ALARMS)
def test_every_alarm_of_its_own_has_a_line(alarm: str) -> None:
    """With what it means and what to type."""
    rows = [line for line in TEXT.splitlines() if line.startswith(f"| `{alarm}`")]

    assert len(rows) == 1
    assert all(len(cell.strip()) > 20 for cell in rows[0].split(" | ")[1:])


def test_it_is_one_page() -> None:
    """Nobody reads two at night."""
    assert len(TEXT.splitlines()) <= 70


def typed(span: str) -> list[str]:
    """The words of a command, without what stands beside it or follows it."""
    command = re.split(r" {2,}|&&|\|", span.removeprefix("sudo "))[0]
    return shlex.split(command)[1:]


@pytest.mark.parametrize("span", SPANS)
def test_every_command_exists_with_its_options(span: str) -> None:
    """As the program itself parses them."""
    command = typer.main.get_command(make_app())
    words = typed(span)
    while words and hasattr(command, "commands") and words[0] in command.commands:
        command = command.commands[words.pop(0)]

    assert not hasattr(command, "commands"), f"aftercare {span} is no whole command"
    options = {name for parameter in command.params for name in parameter.opts}
    assert {word for word in words if word.startswith("--")} <= options


def test_every_script_and_unit_it_names_is_there() -> None:
    """As files of `deploy/`."""
    for name in re.findall(r"\bdeploy/([a-z]+)\b", TEXT):
        assert (DEPLOY / name).is_file()
    for name in re.findall(r"`(aftercare-[a-z]+\.(?:service|timer))`", TEXT):
        assert (DEPLOY / name).is_file()


def test_a_word_on_heat_comes_with_the_caution() -> None:
    """Carbon monoxide and mains kill people; no tree is worth that."""
    assert "No burner or charcoal in a shut house; do not stay inside." in TEXT
    assert "licensed electrician" in TEXT
