"""Reads a unit file of `deploy/` as systemd.syntax(7) has it: keys that may come several times."""

from pathlib import Path

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"


def directives(name: str) -> dict[str, list[str]]:
    """Every key of a unit file with its values in order, whatever their section."""
    found: dict[str, list[str]] = {}
    for line in (DEPLOY / name).read_text(encoding="utf-8").splitlines():
        if line and not line.startswith(("#", ";", "[")):
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found
