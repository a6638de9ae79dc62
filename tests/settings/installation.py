"""A small sound installation that the tests break in one place each."""

from pathlib import Path

SOUND = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1

[houses.cold]
name = "Cold house"

[sensors.bench-a]
house = "cold"
topic = "heather/cold/bench-a"

[notifiers.mail]
type = "email"
host = "127.0.0.1"
from = "house@example.org"
to = ["grower@example.org"]

[people.ann]
notifiers = ["mail"]

[[calls]]
tell = ["high", "medium", "report"]
who = ["ann"]
"""


def written(folder: Path, text: str = SOUND, name: str = "monitor.toml") -> Path:
    """A settings file with that text in the folder."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def replaced(old: str, new: str) -> str:
    """The sound installation with one piece of text replaced, which must be there once."""
    assert SOUND.count(old) == 1, old
    return SOUND.replace(old, new)
