"""From a bare machine to the first guarded tree, through an upgrade and a release that is broken: all real.

Real Python, environment, wheel, program, mosquitto and database in a throw-away root. Only the service
manager is played: it starts and stops the real program as the unit says. What the program needs from others
it takes from the environment that runs the tests.
"""

import json
import re
import shlex
import shutil
import sysconfig
import tarfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.deploy.board import CHECKOUT, Board
from tests.deploy.unit_file import directives
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto, hash_passwords, need_broker
from tests.support.waiting import until

PYTHON = """\
#!/bin/sh
# makes real environments, which find what they need where the tests found it
"$REAL_PYTHON" "$@" || exit
case "$1 $2" in
  "-m venv")
    for word; do directory=$word; done
    echo "{packages}" > "$(echo "$directory"/lib/python3.*/site-packages)/of-the-tests.pth" ;;
esac
"""
MANAGER = """\
#!/bin/sh
# plays the service manager: one service, started as its unit says
pid=$(cat "$FAKES/pid" 2>/dev/null || echo 0)
lives() {{ [ "$pid" != 0 ] && kill -0 "$pid" 2>/dev/null; }}
end() {{ if lives; then kill "$pid"; while kill -0 "$pid" 2>/dev/null; do /bin/sleep 0.05; done; fi; }}
case "$1 $3" in
  "restart aftercare.service")
    end
    cd "$AFTERCARE_ROOT"
    STATE_DIRECTORY=$AFTERCARE_ROOT/var/lib/aftercare RUNTIME_DIRECTORY=$AFTERCARE_ROOT/run/aftercare \\
      setsid {command} >> "$FAKES/journal" 2>&1 &
    echo $! > "$FAKES/pid" ;;
  *) case "$1" in
    stop | disable) end ;;
    is-active) lives && [ -S "$AFTERCARE_ROOT/run/aftercare/aftercare.sock" ] && echo active ;;
    show) lives && echo 0 || echo 1 ;;
    is-enabled) exit 0 ;;
  esac ;;
esac
"""


class RealBoard(Board):
    """A board whose program is the real one."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        (command,) = directives("aftercare.service")["ExecStart"]
        command = command.replace("/opt/", '"$AFTERCARE_ROOT"/opt/').replace(
            "/etc/", '"$AFTERCARE_ROOT"/etc/'
        )
        fakes = self.faults.parent / "bin"
        (fakes / "python-for-tests").write_text(PYTHON.format(packages=sysconfig.get_paths()["purelib"]))
        (fakes / "systemctl").write_text(MANAGER.format(command=command))
        (fakes / "sleep").write_text("#!/bin/sh\nexec /bin/sleep 0.1\n")
        (fakes / "journalctl").write_text('#!/bin/sh\ncat "$FAKES/journal"\n')

    def _make_checkout(self) -> None:
        for name in ("monitor", "config", "deploy"):
            shutil.copytree(
                CHECKOUT / name, self.checkout / name, ignore=shutil.ignore_patterns("__pycache__")
            )
        for name in ("pyproject.toml", "README.md", "LICENSE"):
            shutil.copy(CHECKOUT / name, self.checkout / name)

    def version(self, version: str) -> None:
        """The checkout is of that version now."""
        path = self.checkout / "pyproject.toml"
        lines = path.read_text().splitlines()
        changed = [f'version = "{version}"' if line.startswith("version = ") else line for line in lines]
        path.write_text("\n".join(changed) + "\n")

    def install(self, *words: str, **environ: str) -> int:
        """Without an index: everything is there already."""
        return super().install(*words, PIP_NO_INDEX="1", PIP_NO_BUILD_ISOLATION="0", **environ)

    def command(self, *words: str, answers: str = "") -> int:
        """The installed command."""
        return self.run(self.root / "usr/local/bin/aftercare", *words, answers=answers)

    def password(self, name: str) -> str:
        """One of the passwords that the installation made."""
        return (self.root / "etc/aftercare" / name).read_text().strip()

    def status(self) -> Any:
        """`aftercare status --json`."""
        settings = self.root / "etc/aftercare/monitor.toml"
        assert self.command("status", "--json", "--config", str(settings)) == 0, self.said
        return json.loads(self.said)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[RealBoard]:
    """A bare machine; nothing goes on running after the test."""
    found = RealBoard(tmp_path)
    yield found
    found.run("systemctl", "stop", "aftercare.service")


def message_post(board: RealBoard, folder: Path) -> Mosquitto:
    """A mosquitto with the passwords and rights that the installation laid out."""
    passwords = folder / "passwords"
    passwords.write_text(
        f"aftercare:{board.password('broker-password')}\nsensors:{board.password('sensor-password')}\n"
    )
    hash_passwords(passwords)
    rights = board.root / "etc/mosquitto/aftercare.acl"
    lines = [f"password_file {passwords}", f"acl_file {rights}"]
    return Mosquitto(need_broker(), folder, lines, anonymous=False)


def heard_c(board: RealBoard) -> float | None:
    """The temperature that the guard shows."""
    houses = board.status()["houses"]
    return houses[0]["sensors"][0]["temperature_c"] if houses else None


def test_the_first_hour_an_upgrade_and_a_broken_release(board: RealBoard, tmp_path: Path) -> None:
    """Install, init, guard; upgrade with a backup; a release that dies at its start is rolled back."""
    board.version("1.0")
    assert board.install() == 0, board.said
    words = [
        "--site",
        "Heather Bank",
        "--timezone",
        "Europe/London",
        "--topic",
        "heather/bench",
        "--mail",
        "",
    ]
    assert board.command("init", *words, "--yes") == 0, board.said

    settings = board.root / "etc/aftercare/monitor.toml"
    with message_post(board, tmp_path) as post:
        text = settings.read_text()
        assert 'password_file = "broker-password"' in text
        settings.write_text(text.replace("port = 1883", f"port = {post.port}"))
        assert board.install() == 0, board.said
        assert "1.0 guards" in board.said

        with Publisher(post.port, username="sensors", password=board.password("sensor-password")) as sensor:

            def published_and_heard() -> bool:
                sensor.publish("heather/bench", b'{"temperature": 4.5, "humidity": 80}')
                return heard_c(board) == 4.5

            until(published_and_heard, 30.0, "the reading")

        board.version("1.1")
        assert board.install() == 0, board.said
        assert "1.1 guards" in board.said
        with tarfile.open(board.root / "var/lib/aftercare/backups/before-1.1.tar") as archive:
            assert "aftercare.db" in archive.getnames()
        assert heard_c(board) == 4.5

        board.version("1.2")
        (board.checkout / "monitor/cli/run.py").write_text('raise RuntimeError("broken release")\n')
        assert board.install() == 1
        assert "broken release" in board.said
        assert "Going on with 1.1" in board.said
        assert board.current == "1.1"
        assert heard_c(board) == 4.5

        assert board.uninstall() == 0
    assert (board.root / "var/lib/aftercare/aftercare.db").exists()
    assert settings.exists()


# ---- the README, line by line ------------------------------------------------------------------------------

ANSWERS = "Heather Bank\nEurope/London\n\n\nheather/bench\n\n"
"""To the six questions of `init`; an empty one takes what is proposed."""


def typed_lines() -> list[list[str]]:
    """What the README has one type from the installation to the first guarded tree, as words."""
    text = (CHECKOUT / "README.md").read_text(encoding="utf-8")
    section = text.split("## Installing")[1].split("\n## ")[0]
    blocks = re.findall(r"```sh\n(.*?)```", section, re.DOTALL)
    lines = [shlex.split(line, comments=True) for block in blocks for line in block.splitlines()]
    return [words[1:] if words[0] == "sudo" else words for words in lines if words]


def test_the_readme_leads_to_the_first_guarded_tree(board: RealBoard, tmp_path: Path) -> None:
    """Each line in its order, in earnest; only root and port are others, and listening is short."""
    typed = typed_lines()
    commands = [words[0] for words in typed]
    assert commands[0] == "deploy/install"
    assert {"init", "listen", "check"} <= {words[1] for words in typed if words[0] == "aftercare"}

    settings = board.root / "etc/aftercare/monitor.toml"

    def typed_here(*words: str) -> int:
        return board.command(*words, "--config", str(settings))  # the throw-away root is not at /

    with ExitStack() as stack:
        for words in typed:
            if words == ["deploy/install"]:
                assert board.install() == 0, board.said
                post = stack.enter_context(message_post(board, tmp_path))
                login = {"username": "sensors", "password": board.password("sensor-password")}
                sensor = stack.enter_context(Publisher(post.port, **login))
                stack.enter_context(reporting(sensor))
            elif words == ["aftercare", "init"]:
                assert board.command("init", answers=ANSWERS) == 0, board.said
                settings.write_text(settings.read_text().replace("port = 1883", f"port = {post.port}"))
            elif words == ["systemctl", "start", "aftercare"]:
                board.run("systemctl", "restart", "--quiet", "aftercare.service")
                until(lambda: typed_here("status") == 0, 30.0, "a guard that answers")
            elif words == ["aftercare", "listen"]:
                assert typed_here("listen", "--seconds", "3") == 0, board.said
                assert "heather/bench" in board.said
            else:
                assert words[0] == "aftercare", f"the test does not know: {words}"
                assert typed_here(*words[1:]) == 0, (words, board.said)

        until(lambda: heard_c(board) == 4.5, 30.0, "the reading")
        (tree,) = board.status()["trees"]
        assert (tree["tree"], tree["tender"]) == ("larch-3", True)
        assert tree["margin_k"] == 4.5 - tree["limits"]["low_harm_c"]["value"]
        assert typed_here("drill") == 0, board.said


@contextmanager
def reporting(sensor: Publisher) -> Iterator[None]:
    """A sensor that reports until the block ends."""
    ending = threading.Event()

    def report() -> None:
        while not ending.wait(0.3):
            sensor.publish("heather/bench", b'{"temperature": 4.5, "humidity": 80}')

    thread = threading.Thread(target=report, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ending.set()
        thread.join(15.0)
