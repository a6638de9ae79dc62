"""The colours of the report, light and dark: heather, slate and old paper. No traffic lights.

Every pair that is used together is listed, so that a test can hold it against WCAG 2.2 (4.5:1 for text, 3:1
for lines and shapes). Nothing is ever said by colour alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Palette:
    """One set of colours as `#rrggbb`; `tones` are those of marks and of the notes that belong to them."""

    paper: str
    sheet: str
    """Behind what is asked, slightly apart from the paper."""
    ink: str
    quiet: str
    """Ink for what may be read second."""
    rule: str
    """Hairlines that only decorate."""
    edge: str
    """Lines that carry meaning."""
    tones: Mapping[str, str]


LIGHT = Palette(
    paper="#fbf9f4",
    sheet="#f2ede4",
    ink="#2b2530",
    quiet="#5b5260",
    rule="#d8cfc4",
    edge="#7d6f86",
    tones=MappingProxyType(
        {"past": "#7a1f55", "close": "#6b4a12", "unseen": "#46505f", "clear": "#3c4f47", "easy": "#5b5260"}
    ),
)
DARK = Palette(
    paper="#1d1a21",
    sheet="#2a2630",
    ink="#ece6ee",
    quiet="#b8aebd",
    rule="#453e4c",
    edge="#978aa1",
    tones=MappingProxyType(
        {"past": "#f2a6cf", "close": "#e3c27f", "unseen": "#b6c2d4", "clear": "#aecabb", "easy": "#b8aebd"}
    ),
)

CURVES = ("#5a2a6e", "#2f5d73", "#7a4a1e", "#4b5b2c", "#8a2f4b", "#3d3d7a")
"""Lines of a picture on light paper; each has a dash of its own and its name at its end."""
OUTDOORS = "#5b5260"
LIMIT = "#7a1f55"
UNSEEN = "#8b8494"


def text_pairs(palette: Palette) -> dict[str, tuple[str, str]]:
    """Every pair of text and ground that the page uses."""
    pairs = {
        "ink on paper": (palette.ink, palette.paper),
        "ink on sheet": (palette.ink, palette.sheet),
        "quiet on paper": (palette.quiet, palette.paper),
        "quiet on sheet": (palette.quiet, palette.sheet),
    }
    return pairs | {f"{tone} on paper": (colour, palette.paper) for tone, colour in palette.tones.items()}


def shape_pairs(palette: Palette) -> dict[str, tuple[str, str]]:
    """Every pair of a line or shape that carries meaning and its ground."""
    pairs = {"edge on paper": (palette.edge, palette.paper), "edge on sheet": (palette.edge, palette.sheet)}
    if palette is LIGHT:
        drawn = {f"curve {number}": colour for number, colour in enumerate(CURVES)}
        drawn |= {"outdoors": OUTDOORS, "limit": LIMIT, "unseen": UNSEEN}
        pairs |= {f"{name} on paper": (colour, palette.paper) for name, colour in drawn.items()}
    return pairs
