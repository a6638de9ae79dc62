"""axe-core, which finds what keeps people from using a page; from the npm registry, for tests only."""

import functools
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

from tests.support.browser import apt_get, skip_or_fail

PACKAGE = "axe-core@4.10.3"


@functools.cache
def axe_script() -> str:
    """The text of the script."""
    npm = shutil.which("npm")
    if npm is None and apt_get("npm"):
        npm = shutil.which("npm")
    if npm is None:
        skip_or_fail("npm, which fetches axe-core, is not here and could not be installed with apt-get")
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [str(npm), "pack", PACKAGE, "--silent"],
            cwd=folder, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        archives = list(Path(folder).glob("*.tgz"))
        if done.returncode != 0 or not archives:
            skip_or_fail(f"npm could not fetch {PACKAGE}: {done.stderr.strip()[:200]}")
        with tarfile.open(archives[0]) as archive:
            member = archive.extractfile("package/axe.min.js")
            assert member is not None
            return member.read().decode()
