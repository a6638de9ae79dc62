"""What the picture of one house shows, as plain numbers and words; drawn elsewhere, perhaps much later.

Everything is ready to draw: degrees are those that the site shows, instants are places on the axis of hours.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Curve:
    """One sensor over the night, one value a step, None where nothing is known."""

    name: str
    is_outdoor: bool
    degrees: tuple[float | None, ...]
    drying_kpa: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class HousePicture:
    """One house over the night; `ticks`, `blind` and curves count in steps from its beginning.

    `limits` are lines across the picture: a label and degrees; `blind` are spans and whose they are; `alt`
    says in words what the picture shows.
    """

    house: str
    title: str
    alt: str
    unit: str
    steps: int
    curves: tuple[Curve, ...]
    ticks: tuple[tuple[float, str], ...]
    limits: tuple[tuple[str, float], ...] = ()
    blind: tuple[tuple[float, float, str], ...] = ()
    drying_limit: tuple[str, float] | None = None


def to_json(pictures: Iterable[HousePicture]) -> str:
    """The pictures as compact JSON; nothing where there are none."""
    found = [asdict(picture) for picture in pictures]
    return json.dumps(found, ensure_ascii=False, separators=(",", ":"), allow_nan=False) if found else ""


def from_json(text: str) -> list[Mapping[str, Any]]:
    """What `to_json` wrote, as plain values; nothing where it cannot be read."""
    try:
        found = json.loads(text) if text else []
    except ValueError:
        return []
    return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []
