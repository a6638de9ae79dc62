"""What the command line does for the page: its password, and labels for the pots."""

import stat
import subprocess
import sys
from pathlib import Path

import pytest
import zxingcpp
from lxml import html
from PIL import Image

from monitor.settings import WEB_PASSWORD, load_settings
from monitor.web.passwords import verify
from tests.cli.place import Command, Place, environment, process
from tests.support.browser import browser

PASSWORD = "frost on the pane"
PSEUDO_TERMINAL = "import pty, sys; sys.exit(pty.spawn(sys.argv[1:]) >> 8)"


def _stored(place: Place) -> str:
    return (place.folder / WEB_PASSWORD).read_text(encoding="utf-8").strip()


# ---- password ------------------------------------------------------------------------------------------


def test_a_password_is_kept_as_a_hash_that_the_guard_finds(place: Place) -> None:
    """Read from standard input where there is no terminal; nobody else may read the file."""
    done = process("web", "password", "--config", place.config, cwd=place.folder, stdin=f"{PASSWORD}\n")

    assert done.status == 0, done.err
    assert PASSWORD not in done.out + done.err + _stored(place)
    assert verify(_stored(place), PASSWORD)
    assert stat.S_IMODE((place.folder / WEB_PASSWORD).stat().st_mode) == 0o600
    assert load_settings(place.config, {}).web.password_file == WEB_PASSWORD
    assert "Only this machine finds that." in done.out


def test_at_a_terminal_it_is_typed_twice_and_not_shown(place: Place) -> None:
    """On a terminal of its own."""
    words = [sys.executable, "-m", "monitor.cli.entry", "web", "password", "--config", str(place.config)]
    with subprocess.Popen(
        [sys.executable, "-c", PSEUDO_TERMINAL, *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment(), cwd=place.folder,
    ) as typing:  # fmt: skip
        assert typing.stdin is not None
        assert typing.stdout is not None
        shown = b""
        for prompt in (b"new password: ", b"Once more: "):
            while not shown.endswith(prompt):
                piece = typing.stdout.read(1)
                assert piece, shown
                shown += piece
            typing.stdin.write(f"{PASSWORD}\n".encode())
            typing.stdin.flush()
        shown += typing.stdout.read()
        assert typing.wait(60) == 0, shown

    assert PASSWORD.encode() not in shown
    assert verify(_stored(place), PASSWORD)


@pytest.mark.parametrize(("given", "said"), [("short\n", "8 characters or more"), ("", "No password came")])
def test_a_password_that_cannot_be_one_is_refused_and_nothing_written(
    place: Place, given: str, said: str
) -> None:
    """Status 2, one sentence."""
    done = process("web", "password", "--config", place.config, cwd=place.folder, stdin=given)

    assert done.status == 2
    assert said in done.err
    assert not (place.folder / WEB_PASSWORD).exists()


def test_a_new_password_keeps_the_rights_of_the_file_that_the_settings_name(place: Place) -> None:
    """The guard could not read it otherwise."""
    kept = place.folder / "page-password"
    kept.write_text("old\n", encoding="utf-8")
    kept.chmod(0o640)
    place.config.write_text(
        place.config.read_text(encoding="utf-8") + 'password_file = "page-password"\n', encoding="utf-8"
    )
    done = process("web", "password", "--config", place.config, cwd=place.folder, stdin=f"{PASSWORD}\n")

    assert done.status == 0, done.err
    assert verify(kept.read_text(encoding="utf-8").strip(), PASSWORD)
    assert stat.S_IMODE(kept.stat().st_mode) == 0o640
    assert not (place.folder / WEB_PASSWORD).exists()


def test_where_the_folder_hands_down_its_group_that_group_may_read(place: Place) -> None:
    """As the installed service has it: root types, the guard reads."""
    place.folder.chmod(0o2770)
    process("web", "password", "--config", place.config, cwd=place.folder, stdin=f"{PASSWORD}\n")

    assert stat.S_IMODE((place.folder / WEB_PASSWORD).stat().st_mode) == 0o640


def test_a_place_that_cannot_be_written_is_said(place: Place) -> None:
    """One sentence, status 1; no half file stays."""
    (place.folder / WEB_PASSWORD).mkdir()
    place.config.write_text(
        place.config.read_text(encoding="utf-8") + f'password_file = "{WEB_PASSWORD}"\n', encoding="utf-8"
    )
    done = process("web", "password", "--config", place.config, cwd=place.folder, stdin=f"{PASSWORD}\n")

    assert done.status == 1
    assert "it cannot be written" in done.err
    assert "Traceback" not in done.err
    assert not (place.folder / f"{WEB_PASSWORD}.new").exists()


# ---- labels --------------------------------------------------------------------------------------------


def test_a_label_s_square_opens_the_tree_s_page(place: Place, aftercare: Command, tmp_path: Path) -> None:
    """`independent`: drawn by a real browser, read by ZXing, which phones' cameras use."""
    place.write_book()
    place.config.write_text(
        place.config.read_text(encoding="utf-8") + 'hosts = ["house.example.org"]\n', encoding="utf-8"
    )
    out = tmp_path / "labels.html"
    done = aftercare("tree", "labels", "--out", out, "--config", place.config)
    assert done.status == 0
    assert str(out) in done.out

    with browser() as opened:
        opened.show(out.read_text(encoding="utf-8"), 800)
        opened.screenshot(tmp_path / "labels.png")
        assert "Larch 3" in opened.run("document.body.innerText")
    with Image.open(tmp_path / "labels.png") as picture:
        found = zxingcpp.read_barcodes(picture)
    assert [each.text for each in found] == ["https://house.example.org/tree/larch-3"]


def test_labels_go_to_the_screen_and_what_is_amiss_beside_them(place: Place, aftercare: Command) -> None:
    """A page that only this machine finds is no use on a pot."""
    place.write_book()
    done = aftercare("tree", "labels", "--config", place.config)

    assert done.status == 0
    assert html.fromstring(done.out).xpath("//li//b/text()") == ["Larch 3"]
    assert "Only this machine finds that." in done.err


def test_without_a_tree_there_is_no_label(place: Place, aftercare: Command) -> None:
    """And what to do is said."""
    done = aftercare("tree", "labels", "--config", place.config)

    assert done.status == 1
    assert "There is no tree in the book yet." in done.err
