"""The service files: hardened as Debian's own tool measures it, and the program runs under them.

The limits are held by two tools of Debian: systemd-analyze scores the unit, and libseccomp, through which
systemd itself sets such limits, puts them on a process of the test.
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.deploy.sandbox import library
from tests.deploy.tools import Tool, missing, need_tool
from tests.deploy.unit_file import DEPLOY, directives
from tests.liveness.daemon import Daemon, Sensor, resumes
from tests.support.broker import Mosquitto, need_broker
from tests.support.servers import HttpServer

CHECKOUT = DEPLOY.parent
EXPOSURE = 1.5
"""What the owner of this project allows; a unit without any hardening scores 9.6 (systemd 252)."""
SCRIPTS = sorted(
    path
    for folder in ("deploy", "tests", ".ci")
    for path in (CHECKOUT / folder).iterdir()
    if path.is_file()
    and (path.suffix == ".sh" or path.read_bytes().startswith((b"#!/bin/sh", b"#!/usr/bin/env bash")))
)


@pytest.fixture(scope="module")
def analyze() -> Tool:
    """systemd-analyze."""
    return need_tool("systemd-analyze", "systemd")


# ---- as Debian's tools see them ------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["aftercare.service", "aftercare-backup.service"])
def test_the_exposure_of_each_service_is_low(analyze: Tool, unit: str) -> None:
    """independent: systemd-analyze security; 0 is closed, 10 is open."""
    done = analyze.run("security", "--offline=yes", f"--threshold={EXPOSURE * 10:.0f}", str(DEPLOY / unit))
    score = float(done.stdout.rsplit("level for", 1)[1].split(":")[1].split()[0])

    assert done.returncode == 0, done.stdout
    assert score <= EXPOSURE


@pytest.mark.parametrize("unit", ["aftercare.service", "aftercare-backup.service", "aftercare-backup.timer"])
def test_systemd_understands_every_line(analyze: Tool, unit: str, tmp_path: Path) -> None:
    """independent: systemd-analyze verify says nothing, with a program where the unit expects one."""
    for path in DEPLOY.glob("aftercare*.*"):
        text = path.read_text(encoding="utf-8").replace("/opt/aftercare/current", str(tmp_path))
        (tmp_path / path.name).write_text(text, encoding="utf-8")
    for program in ("bin/aftercare", "deploy/aftercare-backup"):
        (tmp_path / program).parent.mkdir(exist_ok=True)
        (tmp_path / program).write_text("#!/bin/sh\n")
        (tmp_path / program).chmod(0o755)
    done = analyze.run("verify", str(tmp_path / unit))

    assert done.stderr == ""
    assert done.returncode == 0


def test_every_script_is_clean() -> None:
    """independent: shellcheck, with everything that it knows."""
    done = need_tool("shellcheck", "shellcheck").run("-x", *map(str, SCRIPTS))

    assert len(SCRIPTS) >= 7
    assert done.stdout == ""
    assert done.returncode == 0


# ---- what the project asks of them -----------------------------------------------------------------------


def test_the_guard_is_always_started_again() -> None:
    """systemd's own defaults would give it up after five starts in ten seconds (systemd.unit(5))."""
    asked = directives("aftercare.service")

    assert asked["Restart"] == ["always"]
    assert asked["RestartSec"] == ["5"]
    assert asked["StartLimitIntervalSec"] == ["0"]
    assert asked["Type"] == ["notify"]
    assert 20 <= int(asked["WatchdogSec"][0]) <= 120


def test_guarding_waits_for_no_network_and_no_exact_time() -> None:
    """After a power cut neither may come before the morning."""
    asked = directives("aftercare.service")
    waits = " ".join(
        value for key in ("After", "Requires", "Wants", "BindsTo") for value in asked.get(key, [])
    )

    assert "time-set.target" in waits
    assert "network.target" in waits
    assert "time-sync" not in waits
    assert "network-online" not in waits
    assert "Requires" not in asked


def test_the_state_is_closed_and_the_socket_open_to_the_group() -> None:
    """State 0700; whoever is in the group reaches the socket, nobody else does."""
    asked = directives("aftercare.service")

    assert (asked["StateDirectory"], asked["StateDirectoryMode"]) == (["aftercare"], ["0700"])
    assert (asked["RuntimeDirectory"], asked["RuntimeDirectoryMode"]) == (["aftercare"], ["0750"])
    assert asked["UMask"] == ["0077"]


def test_the_backup_service_leaves_the_guards_socket_alone() -> None:
    """A runtime directory of its own name would be emptied when the copy is made."""
    assert "RuntimeDirectory" not in directives("aftercare-backup.service")


def test_secrets_are_given_as_credentials_never_in_the_environment() -> None:
    """Examples to copy; no variable carries a secret."""
    text = (DEPLOY / "aftercare.service").read_text(encoding="utf-8")

    assert "LoadCredential=broker-password:" in text
    assert not any(
        word in " ".join(directives("aftercare.service")["Environment"]).lower()
        for word in ("pass", "secret")
    )


# ---- the program under them ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def syscalls(analyze: Tool, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file of the system calls that the unit allows, with its groups spelled out by systemd-analyze."""
    allowed = {*_spelled_out(analyze, "@default")}
    for value in directives("aftercare.service")["SystemCallFilter"]:
        names = {name for word in value.removeprefix("~").split() for name in _spelled_out(analyze, word)}
        allowed = allowed - names if value.startswith("~") else allowed | names
    path = tmp_path_factory.mktemp("syscalls") / "allowed"
    path.write_text("\n".join(sorted(allowed)), encoding="utf-8")
    return path


def _spelled_out(analyze: Tool, name: str) -> list[str]:
    """A group's system calls; a call stands for itself."""
    if not name.startswith("@"):
        return [name]
    lines = analyze.run("syscall-filter", name).stdout.splitlines()[1:]
    words = [line.strip() for line in lines if line.strip() and not line.strip().startswith("#")]
    return [call for word in words for call in _spelled_out(analyze, word)]


def under_limits(syscalls: Path) -> list[str]:
    """The words before a Python module's name that run it under the unit's limits."""
    try:
        library()
    except OSError as error:
        missing(f"no libseccomp to test with: {error}")
    unit = str(DEPLOY / "aftercare.service")
    python = [sys.executable, "-P", "-m"]
    return [*python, "tests.deploy.sandbox", unit, str(syscalls), *python]


def outcome(syscalls: Path, what: str, folder: Path) -> dict[str, object]:
    """What one of the jobs of `under_limits.py` printed."""
    path = os.pathsep.join([*sys.path, str(CHECKOUT)])
    done = subprocess.run(
        [*under_limits(syscalls), "tests.deploy.under_limits", what, str(folder)],
        check=False,
        env={**os.environ, "PYTHONPATH": path, "MPLCONFIGDIR": str(folder), "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, object] = json.loads(done.stdout)
    return found


def test_the_limits_bite(syscalls: Path, tmp_path: Path) -> None:
    """Else the tests below would show nothing: what the unit forbids is refused, a plain socket is not."""
    found = outcome(syscalls, "refused", tmp_path)

    assert found.pop("plain socket") == 0
    assert all(found.values()), found


def test_all_that_the_program_is_built_on_runs_under_them(syscalls: Path, tmp_path: Path) -> None:
    """numpy, pandas, a picture drawn in a child process, SQLite, TLS, scrypt, threads, an event loop."""
    found = outcome(syscalls, "work", tmp_path)

    assert found.pop("imported")
    assert found == {"solved": True, "low": 60.0, "journal": "wal", "drawn": "PNG", "error": ""}


def test_the_daemon_guards_under_them(syscalls: Path, tmp_path: Path) -> None:
    """Broker, store, page, watchdog, a sign of life for the outside, and an orderly end."""
    with (
        Mosquitto(need_broker(), tmp_path) as broker,
        HttpServer() as outside,
        Sensor(broker.port),
        Daemon(tmp_path, broker, outside, under=under_limits(syscalls)) as daemon,
    ):
        resumes(outside)
        assert "WATCHDOG=1" in daemon.said

        daemon.tell(signal.SIGTERM)
        assert daemon.end() == 0
    said = (tmp_path / "log").read_text(encoding="utf-8")
    assert "Traceback" not in said
    assert "not permitted" not in said
