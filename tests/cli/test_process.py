"""The command line as real processes: no terminal, strange terminals, closed pipes, the demo."""

import os
import subprocess
import sys
from pathlib import Path

from tests.cli.place import Place, environment, process


def test_the_demo_shows_an_alert_and_a_report(tmp_path: Path) -> None:
    """The whole way over a real broker, thirteen hours in a quarter of a minute."""
    done = process("demo", "--seconds", "15", "--keep", tmp_path / "night", cwd=tmp_path)

    assert done.status == 0, done.err
    assert "Ann's phone rings" in done.out
    assert "damage likely below 0 °C" in done.out
    assert "The morning report" in done.out
    assert "No burner or charcoal in a shut house" in done.out
    assert "What to do next" in done.out
    assert "Traceback" not in done.err
    assert (tmp_path / "night/state/aftercare.db").exists()


def test_help_needs_no_terminal(tmp_path: Path) -> None:
    """And nothing is drawn around it."""
    done = process("--help", cwd=tmp_path, COLUMNS="40", TERM="dumb")

    assert done.status == 0
    assert "demo" in done.out
    assert "\x1b" not in done.out


def test_a_terminal_that_knows_few_letters_still_gets_an_answer(tmp_path: Path) -> None:
    """Degree signs become question marks, never an error."""
    done = process("plan", "show", "graft", cwd=tmp_path, PYTHONIOENCODING="ascii", PYTHONUTF8="0")

    assert done.status == 0
    assert "?C" in done.out


def test_a_reader_that_has_had_enough_ends_it_quietly(place: Place) -> None:
    """`aftercare ... | head`."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    with subprocess.Popen(
        [sys.executable, "-m", "monitor.cli.entry", "plan", "show"],
        cwd=place.folder,
        env=environment(),
        stdout=write_end,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        os.close(write_end)
        _, err = running.communicate(timeout=60)

    assert running.returncode == 0
    assert err == ""


def test_a_wrong_word_is_one_sentence_in_a_real_process(place: Place) -> None:
    """As it is in this one."""
    done = process("status", "--nonsense", cwd=place.folder)

    assert done.status == 2
    assert len(done.err.splitlines()) == 1
    assert done.out == ""
