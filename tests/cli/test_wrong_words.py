"""Wrong words end as one sentence on standard error, status 2, and nothing else happens."""

from pathlib import Path

import pytest

from tests.cli.place import Command, Place

WRONG: tuple[tuple[str, str], ...] = (
    ("nonsense", "nonsense"),
    ("--nonsense", "--nonsense"),
    ("status --nonsense", "--nonsense"),
    ("book", "Missing command"),
    ("book add", "Missing command"),
    ("book add nonsense", "nonsense"),
    ("book add work --tre larch-3", "--tre"),
    ("book add work --tree", "--tree"),
    ("book void", "ID"),
    ("book void abc", "--reason"),
    ("book import", "FILE"),
    ("replay", "RECORDING"),
    ("replay there-is-none --out o", "there-is-none: there is no such recording"),
    ("export", "WHAT"),
    ("export nonsense", "nonsense"),
    ("export readings --format nonsense", "nonsense"),
    ("export readings --from nonsense", "--from 'nonsense' is not a time"),
    ("export readings --format parquet", "--out"),
    ("report --date nonsense", "--date 'nonsense' is not a date"),
    ("alarm ack", "--all"),
    ("alarm shelve a/b --for 13h", "twelve hours"),
    ("alarm shelve a/b --for soon", "--for 'soon'"),
    ("sensor rest bench-a --for -1h", "--for '-1h'"),
    ("drill nonsense", "log, spool"),
    ("plan show nonsense", "heavy-bend"),
    ("tree show nonsense", "nonsense"),
    ("demo --seconds 0", "--seconds"),
    ("listen --port 0", "--port"),
    ("run nonsense", "nonsense"),
    ("status --config there-is-none.toml", "there-is-none.toml"),
)


@pytest.mark.parametrize(("words", "named"), WRONG, ids=[words for words, _ in WRONG])
def test_wrong_words_are_told_in_one_sentence(
    words: str, named: str, place: Place, aftercare: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence names what was wrong."""
    (place.folder / "config").mkdir()
    place.config.rename(place.folder / "config" / "monitor.toml")
    monkeypatch.chdir(place.folder)

    done = aftercare(*words.split())

    assert done.status == 2
    assert done.out == ""
    assert named in done.err
    assert len(done.err.splitlines()) == 1
    assert done.err.rstrip()[-1] in ".?:`"
    assert "Traceback" not in done.err
    assert not (place.folder / "config" / "state").exists()


def test_without_settings_the_sentence_says_how_to_make_them(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody is sent to a manual."""
    monkeypatch.chdir(tmp_path)

    done = aftercare("status")

    assert done.status == 2
    assert "aftercare init" in done.err


def test_every_problem_of_the_settings_is_told(place: Place, aftercare: Command) -> None:
    """One line each, with file and line."""
    place.config.write_text(place.config.read_text().replace("54.6", "154.6").replace("-3.1", '"west"'))

    done = aftercare("book", "list", "--config", place.config)

    assert done.status == 2
    assert len(done.err.splitlines()) == 2
    assert all(line.startswith(f"{place.config}, line ") for line in done.err.splitlines())


@pytest.mark.parametrize("words", ["status", "alarm list", "alarm ack --all", "alarm resume a/b"])
def test_what_needs_the_daemon_says_that_it_does_not_run(
    words: str, place: Place, aftercare: Command
) -> None:
    """Status 1: the words were right."""
    done = aftercare(*words.split(), "--config", place.config)

    assert done.status == 1
    assert "aftercare run" in done.err
    assert len(done.err.splitlines()) == 1
