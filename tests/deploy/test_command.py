"""The installed command and the daily backup, in a throw-away root.

All expectations are the project's own.
"""

import tarfile
from pathlib import Path

import pytest

from tests.deploy.board import Board


@pytest.fixture
def board(tmp_path: Path) -> Board:
    """Version 1.0 is installed, with something kept."""
    board = Board(tmp_path)
    board.set_up()
    assert board.install() == 0, board.said
    board.fill_state()
    return board


def called(board: Board, *words: str, cwd: Path | None = None) -> str:
    """How the program itself was called by the installed command."""
    assert board.run(board.root / "usr/local/bin/aftercare", *words, cwd=cwd) == 0, board.said
    return board.calls[-1]


# ---- the command -----------------------------------------------------------------------------------------


def test_the_command_finds_the_services_state_and_socket(board: Board) -> None:
    """Without a word about where they are."""
    call = called(board, "status", "--json")

    assert call.startswith("aftercare-1.0 status --json STATE=")
    assert f"STATE={board.root}/var/lib/aftercare RUNTIME={board.root}/run/aftercare" in call


def test_it_follows_an_upgrade(board: Board) -> None:
    """It is the command of whatever release is in use."""
    board.version("1.1")
    board.install()

    assert called(board, "status").startswith("aftercare-1.1 status")


@pytest.mark.parametrize("words", [["--config", "my.toml"], ["--config=my.toml"]])
def test_with_other_settings_it_is_the_plain_program(board: Board, words: list[str]) -> None:
    """A trial beside the service must not write into the service's book."""
    assert called(board, "book", "list", *words).endswith("STATE= RUNTIME=")


def test_in_a_folder_with_settings_of_its_own_it_is_the_plain_program(board: Board, tmp_path: Path) -> None:
    """As the program itself looks there first."""
    (tmp_path / "config").mkdir()
    (tmp_path / "config/monitor.toml").touch()

    assert called(board, "status", cwd=tmp_path).endswith("status STATE= RUNTIME=")


def test_the_services_settings_named_are_still_the_services(board: Board) -> None:
    """As other texts of the program may name them in full."""
    call = called(board, "check", "--config", f"{board.root}/etc/aftercare/monitor.toml")

    assert f"STATE={board.root}/var/lib/aftercare" in call


def test_init_writes_the_services_settings(board: Board) -> None:
    """Unless others are named."""
    assert f"init --yes --config {board.root}/etc/aftercare/monitor.toml STATE=" in called(
        board, "init", "--yes"
    )
    assert called(board, "init", "--config", "my.toml").endswith("init --config my.toml STATE= RUNTIME=")


def test_words_arrive_as_they_were_typed(board: Board) -> None:
    """Spaces, stars and quotes are nobody's business on the way."""
    assert "book add note --note it's * cold  STATE=" in called(
        board, "book", "add", "note", "--note", "it's * cold "
    )


# ---- the backup --------------------------------------------------------------------------------------------


def backed_up(board: Board, **environ: str) -> int:
    """Run the backup as its service does."""
    script = board.root / "opt/aftercare/current/deploy/aftercare-backup"
    return board.run(script, STATE_DIRECTORY=f"{board.root}/var/lib/aftercare", **environ)


def shelf(board: Board) -> list[str]:
    """The copies that lie there."""
    return sorted(path.name for path in (board.root / "var/lib/aftercare/backups").glob("*.gz"))


def test_a_backup_holds_database_and_book(board: Board) -> None:
    """Under the day's name, closed to others; a second one on the day takes its place."""
    assert backed_up(board) == 0, board.said
    assert backed_up(board) == 0

    (name,) = shelf(board)
    with tarfile.open(board.root / "var/lib/aftercare/backups" / name) as archive:
        assert set(archive.getnames()) == {"aftercare.db", "book.jsonl"}
    assert board.mode("var/lib/aftercare/backups") == "700"


def test_the_oldest_copies_go_and_nothing_else(board: Board) -> None:
    """By number, not by age: a clock that jumped ahead empties no shelf."""
    folder = board.root / "var/lib/aftercare/backups"
    folder.mkdir(exist_ok=True)
    for day in range(1, 6):
        (folder / f"aftercare-2026-01-0{day}.tar.gz").touch()
    (folder / "before-1.0.tar").touch()
    (folder / "aftercare-mine.tar.gz").touch()
    assert backed_up(board, BACKUP_KEEP="3") == 0

    kept = shelf(board)
    assert kept[:2] == ["aftercare-2026-01-04.tar.gz", "aftercare-2026-01-05.tar.gz"]
    assert len(kept) == 4
    assert (folder / "before-1.0.tar").exists()


def test_copies_may_lie_elsewhere(board: Board, tmp_path: Path) -> None:
    """On another medium, best."""
    assert backed_up(board, BACKUP_DIRECTORY=str(tmp_path / "stick")) == 0

    assert len(list((tmp_path / "stick").iterdir())) == 1
    assert shelf(board) == []


def test_a_backup_that_fails_throws_no_older_one_away(board: Board) -> None:
    """And its service fails, so that `systemctl --failed` shows it."""
    folder = board.root / "var/lib/aftercare/backups"
    folder.mkdir(exist_ok=True)
    (folder / "aftercare-2026-01-01.tar.gz").touch()
    board.fault("backup-fails-1.0")

    assert backed_up(board, BACKUP_KEEP="1") != 0
    assert shelf(board) == ["aftercare-2026-01-01.tar.gz"]


@pytest.mark.parametrize("keep", ["0", "-1", "many", "03"])
def test_a_number_of_copies_that_is_none_is_refused(board: Board, keep: str) -> None:
    """Before anything is written."""
    assert backed_up(board, BACKUP_KEEP=keep) == 2
    assert shelf(board) == []
