"""deploy/install and deploy/uninstall in a throw-away root: what a careful person would do by hand.

All expectations are the project's own.
"""

import shutil
import tarfile
from pathlib import Path

import pytest

from tests.deploy.board import Board

SETTINGS = "etc/aftercare/monitor.toml"


@pytest.fixture
def board(tmp_path: Path) -> Board:
    """A bare machine."""
    return Board(tmp_path)


@pytest.fixture
def guarding(board: Board) -> Board:
    """Version 1.0 guards, with something kept."""
    board.set_up()
    assert board.install() == 0, board.said
    board.fill_state()
    return board


def restarted(board: Board) -> bool:
    """Whether the guard was stopped or started by the last script."""
    return any(call.startswith(("systemctl restart", "systemctl stop")) for call in board.calls)


# ---- the first time ------------------------------------------------------------------------------------


def test_a_fresh_installation_lays_everything_out_and_says_what_to_type(board: Board) -> None:
    """User, release, units, command, message post; and not a question asked."""
    assert board.install() == 0, board.said

    assert board.current == "1.0"
    assert "adduser --system --group --no-create-home" in " ".join(board.calls)
    for unit in ("aftercare.service", "aftercare-backup.service", "aftercare-backup.timer"):
        assert (board.root / "etc/systemd/system" / unit).is_file()
    assert (board.root / "usr/local/bin/aftercare").resolve().name == "aftercare-command"
    assert "sudo aftercare init" in board.said


def test_the_state_and_the_secrets_are_closed_to_others(board: Board) -> None:
    """State 0700, settings for the group, passwords for the group at most."""
    board.install()

    assert board.mode("var/lib/aftercare") == "700"
    assert board.mode("etc/aftercare") == "2770"
    assert board.mode("etc/aftercare/broker-password") == "640"
    assert board.mode("etc/mosquitto/aftercare.passwd") == "640"
    assert "chown root:mosquitto" in " ".join(board.calls)


def test_without_settings_the_guard_is_enabled_but_not_started(board: Board) -> None:
    """It would only fail again and again."""
    board.install()

    assert "systemctl enable --quiet aftercare.service" in board.calls
    assert not board.guards


def test_the_message_post_gets_two_passwords_that_nobody_sees(board: Board) -> None:
    """Long, different, hashed in mosquitto's own file, and not in what the script prints."""
    board.install()
    guard = (board.root / "etc/aftercare/broker-password").read_text().strip()
    sensors = (board.root / "etc/aftercare/sensor-password").read_text().strip()

    assert len(guard) == len(sensors) == 24
    assert guard != sensors
    assert (board.root / "etc/mosquitto/aftercare.passwd").read_text() == "aftercare:hashed\nsensors:hashed\n"
    assert guard not in board.said + "".join(board.calls)
    assert sensors not in board.said + "".join(board.calls)
    assert "systemctl restart mosquitto" in board.calls


def test_missing_packages_are_installed_and_only_those(board: Board) -> None:
    """With everything there apt is not even asked."""
    board.fault("missing-packages")
    board.install()
    assert any("install" in call and "mosquitto" in call for call in board.calls if "apt-get" in call)

    (board.faults / "missing-packages").unlink()
    board.install()
    assert not any("apt-get" in call for call in board.calls)


def test_with_settings_it_checks_them_and_then_guards(board: Board) -> None:
    """The check runs on the service's own places, before anything is started."""
    board.set_up()
    assert board.install() == 0, board.said

    steps = [call for call in board.calls if " check " in call or " restart --no-block" in call]
    assert [step.split()[0] for step in steps] == ["aftercare-1.0", "systemctl"]
    assert f"STATE={board.root}/var/lib/aftercare" in steps[0]
    assert board.guards


def test_a_message_post_that_is_set_up_already_stays_as_it_is(board: Board) -> None:
    """Two listeners on one port would end both."""
    own = board.root / "etc/mosquitto/conf.d/mine.conf"
    own.write_text("listener 1883\n")
    assert board.install() == 0

    assert "set up already" in board.said
    assert not (board.root / "etc/mosquitto/conf.d/aftercare.conf").exists()
    assert "systemctl restart mosquitto" not in board.calls


def test_a_message_post_elsewhere_needs_none_here(board: Board) -> None:
    """--no-broker leaves mosquitto alone, and installs none."""
    board.fault("missing-packages")
    assert board.install("--no-broker") == 0

    assert not any("mosquitto" in call for call in board.calls)
    assert not (board.root / "etc/aftercare/broker-password").exists()


def test_whoever_called_sudo_may_use_the_command(board: Board) -> None:
    """Once; the second time the person is in the group already."""
    board.install(SUDO_USER="nobody")

    assert "adduser --quiet nobody aftercare" in board.calls


@pytest.mark.parametrize(
    ("release", "word"),
    [
        ('ID=fedora\nVERSION_ID="43"\n', "Debian"),
        ('ID=debian\nVERSION_ID="11"\n', "too old"),
        ("", "unknown system"),
    ],
)
def test_a_system_it_is_not_made_for_is_left_alone(board: Board, release: str, word: str) -> None:
    """One sentence, and nothing changed."""
    (board.root / "etc/os-release").write_text(release)
    before = board.tree()

    assert board.install() == 1
    assert word in board.said
    assert board.tree() == before


@pytest.mark.parametrize(
    "release", ['ID=raspbian\nVERSION_ID="12"\n', 'ID=x\nID_LIKE=debian\nVERSION_ID="13"\n']
)
def test_raspberry_pi_os_and_debian_13_are_known(board: Board, release: str) -> None:
    """Raspberry Pi OS (64 bit) calls itself debian; older ones raspbian."""
    (board.root / "etc/os-release").write_text(release)

    assert board.install() == 0, board.said


def test_wrong_words_are_refused(board: Board) -> None:
    """Status 2, and nothing changed."""
    before = board.tree()

    assert board.install("--purge") == 2
    assert board.tree() == before


def test_without_root_it_says_so_and_does_nothing(board: Board) -> None:
    """Whoever forgot sudo is told the words to type."""
    identity = board.faults.parent / "bin" / "id"
    identity.write_text("#!/bin/sh\necho 1000\n")
    identity.chmod(0o755)

    assert board.run(board.checkout / "deploy/install", AFTERCARE_ROOT="") == 1
    assert "sudo" in board.said
    assert board.run(board.checkout / "deploy/uninstall", AFTERCARE_ROOT="") == 1


# ---- again ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("set_up", [False, True], ids=["without settings", "guarding"])
def test_a_second_run_changes_nothing(board: Board, set_up: bool) -> None:
    """Not a file, not a right, not an instant of change; and nothing is restarted."""
    if set_up:
        board.set_up()
    board.install()
    before = board.tree()

    assert board.install() == 0, board.said
    assert board.tree() == before
    assert not restarted(board)
    assert not [call for call in board.calls if call.startswith(("adduser", "chown", "pip", "apt-get"))]


def test_what_the_owner_changed_stays(guarding: Board) -> None:
    """The list of rights and the passwords are made once."""
    rights = guarding.root / "etc/mosquitto/aftercare.acl"
    rights.write_text("user bench-a\ntopic write bench-a/#\n")
    guarding.version("1.1")
    guarding.install()

    assert rights.read_text() == "user bench-a\ntopic write bench-a/#\n"


def test_a_guard_that_does_not_run_is_started_by_a_second_run(board: Board) -> None:
    """The usual way on after `aftercare init`, for whoever forgot the other words."""
    board.install()
    board.set_up()
    assert board.install() == 0

    assert board.guards


def test_a_guard_that_a_person_started_can_be_gone_back_to(board: Board) -> None:
    """Most will type what the script told them; the first upgrade has its way back all the same."""
    board.install()
    board.set_up()
    board.run("systemctl", "restart", "aftercare.service")
    board.fill_state()
    board.version("1.1")
    board.fault("does-not-start-1.1")

    assert board.install() == 1
    assert board.current == "1.0"
    assert board.guards


def test_a_text_that_was_built_before_is_not_built_again(guarding: Board) -> None:
    """Also where its release has the longer name, and the shorter one is free again."""
    (guarding.checkout / "monitor/something").write_text("changed\n")
    guarding.install()
    longer = guarding.current
    shutil.rmtree(guarding.root / "opt/aftercare/releases/1.0")

    assert guarding.install() == 0
    assert guarding.current == longer
    assert guarding.releases == {longer}


def test_a_build_that_was_cut_off_is_done_anew(board: Board) -> None:
    """Half an environment is not taken for a release."""
    half = board.root / "opt/aftercare/releases/1.0"
    half.mkdir(parents=True)
    (half / "leftover").touch()
    assert board.install() == 0

    assert not (half / "leftover").exists()
    assert (half / "bin/aftercare").exists()


def test_without_a_network_nothing_is_changed(guarding: Board) -> None:
    """The old release guards on, and no half of the new one stays."""
    guarding.version("1.1")
    guarding.fault("no-network")

    assert guarding.install() == 1
    assert guarding.releases == {"1.0"}
    assert guarding.current == "1.0"
    assert not restarted(guarding)


# ---- upgrades --------------------------------------------------------------------------------------------


def test_an_upgrade_backs_up_then_switches(guarding: Board) -> None:
    """With the old release's own program, while it still guards; the old release stays for a way back."""
    guarding.version("1.1")
    assert guarding.install() == 0, guarding.said

    words = [call.split()[:2] for call in guarding.calls]
    assert words.index(["aftercare-1.0", "backup"]) < words.index(["systemctl", "restart"])
    assert words.index(["aftercare-1.1", "check"]) < words.index(["aftercare-1.0", "backup"])
    assert guarding.current == "1.1"
    assert guarding.guards
    assert guarding.releases == {"1.0", "1.1"}
    with tarfile.open(guarding.root / "var/lib/aftercare/backups/before-1.1.tar") as archive:
        assert set(archive.getnames()) == {"aftercare.db", "book.jsonl"}


def test_the_same_version_with_another_text_is_a_release_of_its_own(guarding: Board) -> None:
    """Whoever follows the source between versions upgrades with a way back, too."""
    (guarding.checkout / "monitor/something").write_text("changed\n")
    assert guarding.install() == 0

    assert guarding.current.startswith("1.0-")
    assert guarding.releases == {"1.0", guarding.current}


def test_only_the_release_before_stays(guarding: Board) -> None:
    """A card is small."""
    for version in ("1.1", "1.2", "1.3"):
        guarding.version(version)
        assert guarding.install() == 0

    assert guarding.releases == {"1.2", "1.3"}
    backups = {path.name for path in (guarding.root / "var/lib/aftercare/backups").iterdir()}
    assert backups == {"before-1.2.tar", "before-1.3.tar"}


def test_settings_that_the_new_release_does_not_accept_change_nothing(guarding: Board) -> None:
    """Said before the old guard is even touched."""
    guarding.version("1.1")
    guarding.fault("check-fails-1.1")

    assert guarding.install() == 1
    assert "monitor.toml, line 3" in guarding.said
    assert guarding.current == "1.0"
    assert guarding.releases == {"1.0"}
    assert guarding.guards
    assert not restarted(guarding)


def test_a_backup_that_fails_stops_the_upgrade(guarding: Board) -> None:
    """No way back, no way on."""
    guarding.version("1.1")
    guarding.fault("backup-fails-1.0")

    assert guarding.install() == 1
    assert guarding.current == "1.0"
    assert not restarted(guarding)


@pytest.mark.parametrize("hangs", [False, True], ids=["dies", "never ready"])
def test_a_release_that_does_not_start_is_rolled_back(guarding: Board, hangs: bool) -> None:
    """The old one guards again, with its own units, and the failure is told with its last words."""
    if hangs:
        guarding.fault("hangs")
    guarding.version("1.1")
    guarding.fault("does-not-start-1.1")
    unit = guarding.checkout / "deploy/aftercare.service"
    before = unit.read_text()
    unit.write_text(before + "# of another release\n")

    assert guarding.install(AFTERCARE_START_WITHIN_S="8") == 1
    assert "what it said before it died" in guarding.said
    assert "Going on with 1.0" in guarding.said
    assert guarding.current == "1.0"
    assert guarding.guards
    assert (guarding.root / "etc/systemd/system/aftercare.service").read_text() == before
    assert guarding.kept() == ("kept", 3)


def test_a_database_that_the_new_release_changed_comes_back_too(guarding: Board) -> None:
    """The old release could not read it; what the new one made of it is kept aside."""
    guarding.version("1.1")
    guarding.fault("does-not-start-1.1")
    guarding.fault("migrates-1.1")

    assert guarding.install() == 1
    assert guarding.guards
    assert guarding.kept() == ("kept", 3)
    aside = list((guarding.root / "var/lib/aftercare").glob("upgrade-failed-*/aftercare.db"))
    assert len(aside) == 1


def test_after_a_roll_back_the_next_try_is_a_whole_upgrade(guarding: Board) -> None:
    """It fails visibly, and it recovers."""
    guarding.version("1.1")
    guarding.fault("does-not-start-1.1")
    guarding.install()
    (guarding.faults / "does-not-start-1.1").unlink()

    assert guarding.install() == 0, guarding.said
    assert guarding.current == "1.1"
    assert guarding.guards


def test_an_old_release_that_fails_as_well_is_said_loudly(guarding: Board) -> None:
    """Nobody watches: that must not drown in a list of steps."""
    guarding.version("1.1")
    guarding.fault("does-not-start-1.1")
    guarding.fault("does-not-start-1.0")

    assert guarding.install() == 1
    assert "NOBODY WATCHES" in guarding.said


def test_an_upgrade_that_was_cut_off_is_done_again_with_its_way_back(guarding: Board) -> None:
    """Switched, and then the power went: the release that last guarded is still known."""
    guarding.version("1.1")
    guarding.install()
    (guarding.root / "opt/aftercare/guarding").write_text(f"{guarding.root}/opt/aftercare/releases/1.0\n")
    guarding.fault("does-not-start-1.1")

    assert guarding.install() == 1
    assert guarding.current == "1.0"
    assert guarding.guards


# ---- and off again ---------------------------------------------------------------------------------------


def test_uninstalling_keeps_what_people_and_trees_would_miss(guarding: Board) -> None:
    """Book, database, settings, passwords, the message post."""
    kept = {
        name: content
        for name, (_, _, content) in guarding.tree().items()
        if name.startswith(("var/lib/aftercare/", "etc/aftercare/", "etc/mosquitto/"))
    }
    assert guarding.uninstall() == 0, guarding.said

    after = guarding.tree()
    assert {name: after[name][2] for name in kept} == kept
    assert not guarding.guards
    assert "nobody watches" in guarding.said
    left = [
        name for name in after if name.startswith(("opt/aftercare", "etc/systemd/system/", "usr/local/bin/"))
    ]
    assert left == []


def test_uninstalling_twice_is_no_error(guarding: Board) -> None:
    """Nor where nothing was installed."""
    guarding.uninstall()
    before = guarding.tree()

    assert guarding.uninstall() == 0
    assert guarding.tree() == before


def test_installed_again_it_goes_on_where_it_was(guarding: Board) -> None:
    """Same passwords, same state."""
    password = (guarding.root / "etc/aftercare/broker-password").read_text()
    guarding.uninstall()

    assert guarding.install() == 0, guarding.said
    assert guarding.guards
    assert guarding.kept() == ("kept", 3)
    assert (guarding.root / "etc/aftercare/broker-password").read_text() == password


def test_a_command_of_another_making_is_not_taken_away(guarding: Board) -> None:
    """Only the link that the installation made."""
    command = guarding.root / "usr/local/bin/aftercare"
    command.unlink()
    command.write_text("#!/bin/sh\n")
    guarding.uninstall()

    assert command.exists()
