"""Where a time zone's city lies, from the tables that come with the time-zone database; pure but for files.

Coordinates there are those of ISO 6709: `+5130-00007` or `+404251-0740023`.
"""

import importlib.resources
import re
import zoneinfo
from collections.abc import Iterator
from pathlib import Path

TABLES = ("zone.tab", "zone1970.tab")
_COORDINATES = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?$")


def system_zone(localtime: Path = Path("/etc/localtime"), name_file: Path = Path("/etc/timezone")) -> str:
    """The time zone that this computer is set to; empty where it does not say."""
    target = localtime.resolve().parts if localtime.is_symlink() else ()
    named = "/".join(target[target.index("zoneinfo") + 1 :]) if "zoneinfo" in target else ""
    if not named and name_file.is_file():
        named = name_file.read_text(encoding="utf-8", errors="replace").strip()
    return "" if named in ("Etc/UTC", "UTC", "Etc/UCT", "GMT") else named


def city_of(zone: str) -> tuple[float, float] | None:
    """Latitude and longitude of the zone's city [deg, north and east positive]; None where no table says."""
    for text in _tables():
        for line in text.splitlines():
            cells = line.split("\t")
            if not line.startswith("#") and len(cells) >= 3 and cells[2] == zone:
                return coordinates(cells[1])
    return None


def coordinates(text: str) -> tuple[float, float] | None:
    """ISO 6709 degrees, minutes and perhaps seconds as decimal degrees, to a hundredth."""
    match = _COORDINATES.match(text)
    if match is None:
        return None
    north, east = match.group(1, 2, 3, 4), match.group(5, 6, 7, 8)
    return _decimal(*north), _decimal(*east)


def _decimal(sign: str, degrees: str, minutes: str, seconds: str | None) -> float:
    value = int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600
    return round(-value if sign == "-" else value, 2)


def _tables() -> Iterator[str]:
    for folder in zoneinfo.TZPATH:
        for name in TABLES:
            path = Path(folder) / name
            if path.is_file():
                yield path.read_text(encoding="utf-8", errors="replace")
    shipped = importlib.resources.files("tzdata") / "zoneinfo"
    for name in TABLES:
        table = shipped / name
        if table.is_file():
            yield table.read_text(encoding="utf-8")
