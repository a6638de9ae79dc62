"""Every command explains itself, with an example that can be typed."""

import shlex
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import pytest
import typer

from monitor.cli.commands import make_app
from monitor.trees.kinds import ENTRY_KINDS, entry_fields
from tests.cli.place import Command

PROMISED = {
    "demo", "init", "listen", "run", "check", "status", "replay", "report", "book add", "book list",
    "book import", "book export", "book void", "tree show", "plan show", "alarm list", "alarm ack",
    "alarm shelve", "alarm resume", "sensor rest", "sensor wake", "drill", "export", "backup", "tree labels",
    "web password",
}  # fmt: skip


def _paths(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The words of every command and group."""
    if path:
        yield path
    for name, part in getattr(command, "commands", {}).items():
        yield from _paths(part, (*path, name))


COMMANDS = typer.main.get_command(make_app())
"""Made once for all: they hold nothing that a test could change."""
PATHS = sorted(_paths(COMMANDS))


@pytest.fixture
def shown(capsys: pytest.CaptureFixture[str]) -> Callable[[Sequence[str]], str]:
    """The help text of a command."""

    def show(words: Sequence[str]) -> str:
        capsys.readouterr()
        assert not COMMANDS([*words, "--help"], prog_name="aftercare", standalone_mode=False)
        caught = capsys.readouterr()
        assert caught.err == ""
        return caught.out

    return show


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
def test_every_command_has_help_with_an_example(
    path: tuple[str, ...], shown: Callable[[Sequence[str]], str]
) -> None:
    """The example begins with the command itself; nothing is drawn."""
    text = shown(path)

    _, found, examples = text.partition("Example:\n")
    assert found
    assert f"aftercare {' '.join(path)}" in examples
    assert not any(letter in text for letter in "╭│╰")


def test_every_promised_command_is_there() -> None:
    """Snapshot of the names that other programs call."""
    assert {" ".join(path) for path in PATHS} >= PROMISED


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
def test_every_example_is_taken_by_the_parser(
    path: tuple[str, ...], shown: Callable[[Sequence[str]], str]
) -> None:
    """No example names an option that is not there: what stands before `--help` is read first."""
    examples = shown(path).partition("Example:\n")[2].splitlines()

    for line in examples:
        words = shlex.split(line.split("<")[0])
        assert words[0] == "aftercare"
        assert shown(words[1:])


@pytest.mark.parametrize("kind", [kind for kind in ENTRY_KINDS if kind != "void"])
def test_book_add_takes_every_key_of_the_kind_as_an_option(
    kind: str, shown: Callable[[Sequence[str]], str]
) -> None:
    """The options come from the same table that checks the entries."""
    out = shown(["book", "add", kind])

    for field in entry_fields(kind):
        assert f"{field.option} " in out


def test_without_a_command_all_are_shown(aftercare: Command) -> None:
    """And the status says that nothing was done."""
    done = aftercare()

    assert done.status == 2
    assert "Commands:" in done.out
