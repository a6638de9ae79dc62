"""`web password`: who may open the page from elsewhere than this machine."""

import contextlib
import os
import stat
import sys
from pathlib import Path

import typer

from monitor.cli import show
from monitor.cli.options import Config, example, new_group
from monitor.errors import AftercareError, UsageError
from monitor.links import base_url, is_only_here
from monitor.settings import WEB_PASSWORD, Settings, load_settings, secret_path
from monitor.web import passwords


def add_to(app: typer.Typer) -> None:
    """Hang the command into the tree."""
    web = new_group("The page for the phone.", "web password")
    web.command("password", epilog=example("web password", "web password < file-with-the-password"))(password)
    web.callback()(lambda: None)
    app.add_typer(web, name="web")


def password(config: Config = None) -> int:
    """The page's password: asked for twice, or read from standard input, and kept as a hash.

    With it the page may be opened to your phone. Whoever is logged in must log in anew afterwards.
    """
    settings = load_settings(config, os.environ)
    path = keep_password(settings, _asked() if sys.stdin.isatty() else _read())
    show.say(f"Written: {path}. It counts from the guard's next start on.")
    show.say(f"The page is at {base_url(settings.web)}")
    if is_only_here(settings.web):
        show.say(show.wrapped(
            f'Only this machine finds that. For your phone write listen = "0.0.0.0:8380" and the name or '
            f"address of this machine in hosts, under [web] in {settings.file}."
        ))  # fmt: skip
    return 0


def keep_password(settings: Settings, given: str) -> Path:
    """Keep the hash of a password where the guard looks for it; returns that place.

    UsageError says what is wrong with the password. The file goes in whole. One that was there keeps its
    owner and rights; a new one belongs to its folder's owner, and its group may read it where the folder
    hands down its group, as that of the installed service does.
    """
    try:
        stored = passwords.make(given)
    except ValueError as error:
        raise UsageError(str(error), "Nothing was written.") from None
    path = secret_path(settings, settings.web.password_file or WEB_PASSWORD)
    beside = path.with_name(f"{path.name}.new")
    try:
        _write(beside, stored + "\n", path if path.exists() else path.parent)
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
        raise AftercareError(f"{path}: it cannot be written ({error.strerror}).") from error
    return path


def _write(file: Path, text: str, like: Path) -> None:
    """A file for few eyes, with the owner of another file or folder; OSError where it cannot be."""
    model = like.stat()
    shared = bool(model.st_mode & (stat.S_ISGID if like.is_dir() else stat.S_IRGRP))
    file.unlink(missing_ok=True)
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as opened:
        opened.write(text)
        opened.flush()
        os.fsync(opened.fileno())
    with contextlib.suppress(PermissionError):
        os.chown(file, model.st_uid, model.st_gid)
    file.chmod(0o640 if shared else 0o600)


def _asked() -> str:
    """Typed twice, unseen."""
    first = str(typer.prompt("The page's new password", hide_input=True))
    if str(typer.prompt("Once more", hide_input=True)) != first:
        raise UsageError("The two were not the same, and nothing was written.", "Try again.")
    return first


def _read() -> str:
    """The first line of standard input."""
    line = sys.stdin.readline().rstrip("\r\n")
    if not line:
        raise UsageError(
            "No password came, and nothing was written.", "Type it at a terminal, or send it as one line."
        )
    return line
