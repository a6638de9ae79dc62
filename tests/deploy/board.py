"""A throw-away root in place of a Raspberry Pi: the scripts of `deploy/` run in it against fakes on PATH.

    board = Board(tmp_path)
    board.install()                    # deploy/install, with AFTERCARE_ROOT
    board.said, board.calls            # what it printed, and which system commands it called

Nothing of the machine is touched: `systemctl`, `adduser`, `apt-get` and their like are the fakes below, the
Python that makes environments is a fake, and so is the program that it "installs". What a fake shall do wrong
is switched on by a file of `board.faults`.
"""

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]

_NOTE = 'printf "%s\\n" "${0##*/} $*" >> "$FAKES/calls"\n'

_FAKES: Mapping[str, str] = {
    "getent": 'grep -qx "$2" "$FAKES/users"',
    "adduser": 'for word; do last=$word; done; echo "$last" >> "$FAKES/users"',
    "chown": "",
    "apt-get": '[ ! -e "$FAKES/faults/no-network" ] || exit 100',
    "dpkg-query": '[ ! -e "$FAKES/faults/missing-packages" ] && echo "install ok installed"',
    "journalctl": 'echo "what it said before it died"',
    "hostname": "echo 192.0.2.7",
    "sleep": "",
    "mosquitto_passwd": 'sed -i "s/:.*/:hashed/" "$2"',
    "systemctl": """
release=$(basename "$(readlink "$AFTERCARE_ROOT/opt/aftercare/current" 2>/dev/null)")
case "$1" in
  is-active) cat "$FAKES/active" 2>/dev/null || { echo inactive; exit 3; } ;;
  show) cat "$FAKES/restarts" 2>/dev/null || echo 0 ;;
  is-enabled) grep -qx "$3" "$FAKES/enabled" 2>/dev/null ;;
  enable) for word; do last=$word; done; echo "$last" >> "$FAKES/enabled" ;;
  disable) for word; do last=$word; done; sed -i "/^$last\\$/d" "$FAKES/enabled"; rm -f "$FAKES/active" ;;
  stop) rm -f "$FAKES/active" ;;
  restart)
    [ "$2" != mosquitto ] || exit 0
    [ ! -e "$FAKES/faults/migrates-$release" ] ||
      (cd "$AFTERCARE_ROOT/var/lib/aftercare" && "$REAL_PYTHON" -c \\
        'import sqlite3; sqlite3.connect("aftercare.db").execute("PRAGMA user_version = 99")')
    echo active > "$FAKES/active"
    if [ -e "$FAKES/faults/does-not-start-$release" ]; then
      echo activating > "$FAKES/active"
      [ -e "$FAKES/faults/hangs" ] || echo 1 > "$FAKES/restarts"
    else
      echo 0 > "$FAKES/restarts"
    fi ;;
esac""",
}

_PYTHON = """\
#!/bin/sh
# stands for python3 and for an environment's python
case "$1 $2" in
  "-m venv")
    for word; do directory=$word; done
    mkdir -p "$directory/bin"
    cp "$FAKES/bin/python-for-tests" "$directory/bin/python" ;;
  "-m pip")
    [ "$3" = install ] || exit 0
    printf '%s\\n' "pip $*" >> "$FAKES/calls"
    [ ! -e "$FAKES/faults/no-network" ] || exit 1
    cp "$FAKES/bin/aftercare-for-tests" "$(dirname "$0")/aftercare" ;;
  "-c "*) ;;
  "--version "*) echo "Python for tests" ;;
  "- ") ;;
  *) exec "$REAL_PYTHON" "$@" ;;
esac
"""

_PROGRAM = """\
#!/bin/sh
# stands for the program of one release
release=$(basename "$(readlink -f "$(dirname "$(dirname "$0")")")")
places="STATE=${STATE_DIRECTORY:-} RUNTIME=${RUNTIME_DIRECTORY:-}"
printf '%s\\n' "aftercare-$release $* $places" >> "$FAKES/calls"
[ ! -e "$FAKES/faults/$1-fails-$release" ] || { echo "monitor.toml, line 3: no." >&2; exit 2; }
case "$1" in
  backup) tar -c -f "$2" -C "$STATE_DIRECTORY" aftercare.db book.jsonl ;;
esac
"""


class Board:
    """One machine: a root folder, a checkout to install from, fakes, and what became of the last script."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"
        self.checkout = folder / "checkout"
        self._fakes = folder / "fakes"
        self.faults = self._fakes / "faults"
        self.said = ""
        self._make_root()
        self._make_fakes()
        self._make_checkout()

    def _make_root(self) -> None:
        for name in ("etc/mosquitto/conf.d", "usr/local/bin", "var/lib", "run"):
            (self.root / name).mkdir(parents=True)
        (self.root / "etc/os-release").write_text('ID=debian\nVERSION_ID="12"\n')
        (self.root / "etc/mosquitto/mosquitto.conf").write_text("include_dir /etc/mosquitto/conf.d\n")

    def _make_fakes(self) -> None:
        self.faults.mkdir(parents=True)
        (self._fakes / "bin").mkdir()
        for name in ("users", "calls", "enabled"):
            (self._fakes / name).touch()
        scripts = {name: f"#!/bin/sh\n{_NOTE}{text}\n" for name, text in _FAKES.items()}
        scripts |= {"python-for-tests": _PYTHON, "aftercare-for-tests": _PROGRAM}
        for name, text in scripts.items():
            path = self._fakes / "bin" / name
            path.write_text(text)
            path.chmod(0o755)

    def _make_checkout(self) -> None:
        shutil.copytree(CHECKOUT / "deploy", self.checkout / "deploy")
        for name in ("monitor", "config"):
            (self.checkout / name).mkdir()
            (self.checkout / name / "something").write_text("as it is\n")
        self.version("1.0")

    # ---- what a test plays with --------------------------------------------------------------------------

    def version(self, version: str) -> None:
        """The checkout is of that version now."""
        (self.checkout / "pyproject.toml").write_text(f'[project]\nversion = "{version}"\n')

    def fault(self, name: str) -> Path:
        """Switch a fault on; unlink the path to switch it off."""
        path = self.faults / name
        path.touch()
        return path

    def set_up(self) -> None:
        """The person has made the settings."""
        settings = self.root / "etc/aftercare/monitor.toml"
        settings.parent.mkdir(parents=True, exist_ok=True)
        settings.write_text("# settings\n")

    def fill_state(self, note: str = "kept") -> None:
        """The guard has kept something."""
        state = self.root / "var/lib/aftercare"
        (state / "book.jsonl").write_text(f'{{"note": "{note}"}}\n')
        with closing(sqlite3.connect(state / "aftercare.db")) as db:
            db.execute("CREATE TABLE IF NOT EXISTS kept (note)")
            db.execute("DELETE FROM kept")
            db.execute("INSERT INTO kept VALUES (?)", (note,))
            db.execute("PRAGMA user_version = 3")
            db.commit()

    def kept(self) -> tuple[str, int]:
        """The note in the database, and the database's form."""
        with closing(sqlite3.connect(self.root / "var/lib/aftercare/aftercare.db")) as db:
            note = db.execute("SELECT note FROM kept").fetchone()[0]
            return note, db.execute("PRAGMA user_version").fetchone()[0]

    # ---- running the scripts -------------------------------------------------------------------------------

    def run(
        self, path: Path | str, *words: str, cwd: Path | None = None, answers: str = "", **environ: str
    ) -> int:
        """Run a script of the root or the checkout; its exit status. `said` is all that it printed."""
        environment = {
            "PATH": f"{self._fakes / 'bin'}:/usr/sbin:/usr/bin:/bin",
            "LC_ALL": "C.UTF-8",
            "FAKES": str(self._fakes),
            "REAL_PYTHON": sys.executable,
            "AFTERCARE_PYTHON": "python-for-tests",
            "AFTERCARE_ROOT": str(self.root),
            **environ,
        }
        done = subprocess.run(
            [str(path), *words],
            check=False,
            cwd=cwd or self.root,
            env=environment,
            input=answers,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=120,
        )
        self.said = done.stdout
        return done.returncode

    def install(self, *words: str, **environ: str) -> int:
        """deploy/install; `calls` then holds what this run called."""
        (self._fakes / "calls").write_text("")
        return self.run(self.checkout / "deploy/install", *words, **environ)

    def uninstall(self) -> int:
        """deploy/uninstall."""
        (self._fakes / "calls").write_text("")
        return self.run(self.checkout / "deploy/uninstall")

    # ---- what came of it -----------------------------------------------------------------------------------

    @property
    def calls(self) -> list[str]:
        """The system commands that were called, a line each."""
        return (self._fakes / "calls").read_text().splitlines()

    @property
    def current(self) -> str:
        """The release that is in use."""
        return (self.root / "opt/aftercare/current").readlink().name

    @property
    def releases(self) -> set[str]:
        """All releases that lie there."""
        return {path.name for path in (self.root / "opt/aftercare/releases").iterdir()}

    @property
    def guards(self) -> bool:
        """Whether the service runs."""
        active = self._fakes / "active"
        return active.exists() and active.read_text() == "active\n"

    def tree(self) -> dict[str, tuple[object, ...]]:
        """Every file of the root: type and rights, instant of change, and content."""
        found: dict[str, tuple[object, ...]] = {}
        for path in sorted(self.root.rglob("*")):
            status = path.lstat()
            content = (
                str(path.readlink()) if path.is_symlink() else path.read_bytes() if path.is_file() else ""
            )
            found[str(path.relative_to(self.root))] = (oct(status.st_mode), status.st_mtime_ns, content)
        return found

    def mode(self, path: str) -> str:
        """The rights of a file of the root, as octal digits."""
        return f"{(self.root / path).stat().st_mode & 0o7777:o}"
