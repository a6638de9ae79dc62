"""`init`: a commented file that passes `check`, never over another, and a loud test at the end."""

import re
import tomllib
from pathlib import Path

import pytest

from monitor.cli.first_page import own_name, square
from monitor.cli.where import city_of, coordinates, system_zone
from monitor.links import base_url
from monitor.safety import SAFETY_TEXT
from monitor.settings import load_settings
from monitor.web import passwords
from tests.cli.place import Command, process
from tests.support.broker import free_port

SITE = ("--site", 'Heather "Bank"', "--timezone", "Europe/London", "--topic", "heather/bench", "--yes")


def test_options_alone_make_a_file_that_passes_check(aftercare: Command, tmp_path: Path) -> None:
    """Without a question."""
    file = tmp_path / "config" / "monitor.toml"

    done = aftercare("init", *SITE, "--config", file)
    checked = aftercare("check", "--config", file, "--json")

    assert done.status == 0
    assert checked.json["ok"] is True
    written = tomllib.loads(file.read_text())
    assert written["site"]["name"] == 'Heather "Bank"'
    assert written["sensors"]["bench"]["topic"] == "heather/bench"
    assert file.read_text().count("#") > 10
    assert all(" ".join(said.split()) in " ".join(done.out.split()) for said in SAFETY_TEXT)


def test_the_page_has_a_password_and_its_address_is_a_square_for_the_phone(
    aftercare: Command, tmp_path: Path
) -> None:
    """Said once; kept as a hash, for few eyes."""
    file = tmp_path / "monitor.toml"
    done = aftercare("init", *SITE, "--config", file)

    kept = (tmp_path / "web-password").read_text().strip()
    said = re.search(r"Its password: (\S+)", done.out)
    assert said is not None
    assert passwords.verify(kept, said[1])
    assert said[1] not in file.read_text() + kept
    assert (tmp_path / "web-password").stat().st_mode & 0o077 == 0
    address = base_url(load_settings(file, {}).web)
    assert address in done.out
    assert square(address) in done.out


def test_a_password_that_is_there_stays(aftercare: Command, tmp_path: Path) -> None:
    """Whoever begins anew does not lock out the phones."""
    (tmp_path / "web-password").write_text(passwords.make("as it was before") + "\n")
    done = aftercare("init", *SITE, "--config", tmp_path / "monitor.toml")

    assert "Its password stays" in done.out
    assert passwords.verify((tmp_path / "web-password").read_text().strip(), "as it was before")


@pytest.mark.parametrize(
    ("hostname", "name"),
    [
        ("shed", "shed.local"),
        ("Shed.home.example", "shed.local"),
        ("localhost", "greenhouse.local"),
        ("", "greenhouse.local"),
    ],
)
def test_a_machine_is_found_by_its_name_in_the_network(hostname: str, name: str) -> None:
    """Published: names under `.local` are resolved in the link (RFC 6762)."""
    assert own_name(hostname) == name


def test_an_existing_file_is_never_overwritten(aftercare: Command, tmp_path: Path) -> None:
    """Whatever it holds."""
    file = tmp_path / "monitor.toml"
    file.write_text("mine")

    done = aftercare("init", *SITE, "--config", file)

    assert done.status == 2
    assert file.read_text() == "mine"


def test_six_questions_are_enough(tmp_path: Path) -> None:
    """Answered by a real process's standard input; an empty answer takes what is proposed."""
    answers = "Heather Bank\nEurope/London\n54.6\n\nheather/bench\n\n"

    done = process("init", cwd=tmp_path, stdin=answers)

    assert done.status == 0, done.err
    written = tomllib.loads((tmp_path / "config/monitor.toml").read_text())
    assert written["site"]["latitude_deg"] == 54.6
    assert written["site"]["longitude_deg"] == -0.13
    assert done.out.count("?") == 6


def test_questions_nobody_answers_write_nothing(tmp_path: Path) -> None:
    """And say how to do without them."""
    done = process("init", cwd=tmp_path, stdin="Heather Bank\n")

    assert done.status == 2
    assert "--yes" in done.err
    assert not (tmp_path / "config/monitor.toml").exists()


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--timezone", "Europe/Londom"), "Europe/London"),
        (("--latitude", "95"), "latitude_deg"),
        (("--topic", "heather/#"), "topic"),
        (("--mail", "nobody"), "mail"),
    ],
)
def test_a_wrong_answer_leaves_no_file(
    words: tuple[str, ...], named: str, aftercare: Command, tmp_path: Path
) -> None:
    """It is checked before it stays."""
    file = tmp_path / "monitor.toml"

    done = aftercare("init", "--yes", *words, "--config", file)

    assert done.status == 2
    assert named in done.err
    assert not file.exists()


def test_a_test_that_does_not_get_through_leaves_the_file_and_ends_with_1(
    aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No mail server answers there: the file is right, the way to reach somebody is not."""
    file = tmp_path / "monitor.toml"
    monkeypatch.setattr("monitor.cli.beginning.MAIL_PORT", free_port())

    done = aftercare("init", *SITE, "--mail", "ann@example.org", "--config", file)

    assert done.status == 1
    assert "FAILED" in done.out
    assert tomllib.loads(file.read_text())["notifiers"]["mail"]["to"] == ["ann@example.org"]


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("+513030-0000731", (51.51, -0.13)), ("-3352+15113", (-33.87, 151.22)), ("+1234", None)],
)
def test_coordinates_of_the_tables_are_read(text: str, degrees: tuple[float, float] | None) -> None:
    """Published: tzdata zone1970.tab, London and Sydney; degrees and minutes, to a hundredth."""
    assert coordinates(text) == degrees


def test_a_zones_city_is_found() -> None:
    """Published: tzdata zone.tab, Stockholm +5920+01803."""
    assert city_of("Europe/Stockholm") == (59.33, 18.05)
    assert city_of("Europe/Nowhere") is None


def test_the_computers_own_zone_is_proposed(tmp_path: Path) -> None:
    """From the link that most systems have; UTC says nothing of where a house stands."""
    link = tmp_path / "localtime"
    link.symlink_to("/usr/share/zoneinfo/Europe/Oslo")
    utc = tmp_path / "utc"
    utc.symlink_to("/usr/share/zoneinfo/Etc/UTC")
    name = tmp_path / "timezone"
    name.write_text("Europe/Rome\n")

    assert system_zone(link, tmp_path / "none") == "Europe/Oslo"
    assert system_zone(utc, tmp_path / "none") == ""
    assert system_zone(tmp_path / "none", name) == "Europe/Rome"
