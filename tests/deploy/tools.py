"""Debian's own tools for the tests of this folder: found, or fetched from Debian by apt.

Without one the tests that need it are skipped with the reason; under `CI=true` that is a failure.
"""

import functools
import os
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import NamedTuple, NoReturn

import pytest

PLACES = "/usr/bin:/bin:/usr/sbin:/sbin"


class Tool(NamedTuple):
    """A program that can be run: its path and what it needs in the environment."""

    path: str
    environment: dict[str, str]

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run it; output and status are in the result."""
        return subprocess.run(
            [self.path, *words],
            check=False,
            env={**os.environ, **self.environment, "LC_ALL": "C.UTF-8", "SYSTEMD_COLORS": "0"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=120,
        )


def need_tool(name: str, package: str) -> Tool:
    """A tool of one of Debian's packages."""
    found, reason = _find(name, package)
    if found is None:
        missing(f"no {name} to test with: {reason}")
    return found


def missing(reason: str) -> NoReturn:
    """Skip the test, or fail it under `CI=true`."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"CI must have it: {reason}")
    pytest.skip(reason)


@functools.cache
def _find(name: str, package: str) -> tuple[Tool | None, str]:
    path = shutil.which(name) or shutil.which(name, path=PLACES)
    if path:
        return Tool(path, {}), ""
    if not shutil.which("apt-get"):
        return None, "it is not on PATH, and there is no apt-get to fetch it"
    folder = Path(tempfile.gettempdir()) / f"{package}-for-tests-{os.geteuid()}"
    found = _unpacked(folder, name)
    if found is None:
        said = _fetch(folder, package)
        found = _unpacked(folder, name)
        if found is None:
            return None, f"apt-get could not fetch {package}: {said[-300:]}"
    return found, ""


def _unpacked(folder: Path, name: str) -> Tool | None:
    root = folder / "root"
    path = next(
        (root / place / name for place in ("usr/bin", "bin", "usr/sbin") if (root / place / name).exists()),
        None,
    )
    if path is None:
        return None
    libraries = sorted({str(library.parent) for library in root.glob("**/*.so*")})
    return Tool(str(path), {"LD_LIBRARY_PATH": ":".join(libraries)})


def _fetch(folder: Path, package: str) -> str:
    """Unpack a package and what this machine lacks for it, beside the system and without being root."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    plan = _quietly("apt-get", "install", "--simulate", "--no-install-recommends", package)
    if f"Inst {package}" not in plan and os.geteuid() == 0:
        _quietly("apt-get", "update")
        plan = _quietly("apt-get", "install", "--simulate", "--no-install-recommends", package)
    packages = re.findall(r"^Inst (\S+)", plan, re.MULTILINE)
    if package not in packages:
        return plan
    said = _quietly("apt-get", "download", *packages, cwd=folder)
    for file in folder.glob("*.deb"):
        said += _quietly("dpkg-deb", "-x", str(file), str(folder / "root"))
    return said


def _quietly(*command: str, cwd: Path | None = None) -> str:
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive", "LC_ALL": "C"}
    try:
        done = subprocess.run(
            command,
            check=False,
            cwd=cwd,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=300,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    return done.stdout + done.stderr
