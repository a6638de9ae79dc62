"""What `init` does for the page: a password of its own, and its address as a square for a phone's camera."""

import io
import os
import secrets
import socket
from pathlib import Path

from monitor.cli import show
from monitor.cli.page import keep_password
from monitor.links import base_url
from monitor.settings import WEB_PASSWORD, load_settings, secret_path

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Without those that are taken for one another."""
GROUPS, OF = 3, 4


def own_name(hostname: str | None = None) -> str:
    """The name by which phones of the same network find this machine: `greenhouse.local`."""
    name = (socket.gethostname() if hostname is None else hostname).strip().lower().partition(".")[0]
    fits = name and all(sign.isascii() and (sign.isalnum() or sign == "-") for sign in name)
    return f"{name}.local" if fits and name != "localhost" else "greenhouse.local"


def new_password() -> str:
    """Twelve letters in three groups, as one writes them down: 59 bits."""
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(OF)) for _ in range(GROUPS))


def square(address: str) -> str:
    """A QR code of half blocks, for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out=out, compact=True, border=2)
    return out.getvalue()


def open_page(path: Path) -> None:
    """Make the page's password, unless there is one, and say where the page will be."""
    settings = load_settings(path, os.environ)
    kept = secret_path(settings, settings.web.password_file or WEB_PASSWORD)
    given = "" if kept.is_file() else new_password()
    if given:
        keep_password(settings, given)
    address = base_url(settings.web)
    show.say()
    show.say(f"The page for your phone, as soon as the guard runs: {address}")
    show.say(square(address))
    if given:
        show.say(f"Its password: {given}")
        show.say("Write it down now; only its hash is kept. Another one: aftercare web password")
    else:
        show.say(f"Its password stays the one that {kept} holds.")
