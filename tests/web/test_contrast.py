"""Legible in sun and at night: contrast computed from the style sheet itself.

`published`: WCAG 2.2, success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for lines that matter), with
the relative luminance as defined there; checked against the worked value of black on white, 21:1.
"""

import re

import pytest

from monitor.web.frame import STYLE


def _luminance(colour: str) -> float:
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """WCAG's contrast ratio of two colours `#rrggbb`."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _palettes() -> dict[str, dict[str, str]]:
    blocks = re.findall(r":root \{([^}]*)\}", STYLE)
    found = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block)) for block in blocks]
    return {"light": found[0], "dark": found[1]}


def test_the_ratio_is_that_of_the_standard() -> None:
    """Black on white."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_can_be_read(scheme: str) -> None:
    """Seven to one for what is read, which is more than is asked: the sun is bright."""
    colours = _palettes()[scheme]

    for name in ("ink", "soft", "cold"):
        assert contrast(colours[name], colours["paper"]) >= 7.0, name
    assert contrast(colours["ink-paper"], colours["loud"]) >= 7.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_lines_that_matter_can_be_seen(scheme: str) -> None:
    """Strands and the hatching of the ground."""
    colours = _palettes()[scheme]

    assert contrast(colours["soft"], colours["paper"]) >= 3.0
    assert contrast(colours["hatch"], colours["paper"]) >= 3.0


def test_no_colour_stands_outside_the_palette() -> None:
    """But for labels that are printed black on white."""
    rest = re.sub(r":root \{[^}]*\}", "", STYLE)

    assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", rest)) <= {"#fff", "#000", "#888"}
