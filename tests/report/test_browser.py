"""The page in a real browser: on a phone and a desk, by day and in the dark.

Independent: Debian's Chromium for layout, axe-core for what keeps people out.
"""

import struct
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor.report.pictures import with_images
from tests.report.nights import Played
from tests.support.axe import axe_script
from tests.support.browser import Browser, browser

NIGHTS = ("frost-with-heater-failure", "sixty-trees", "blind-night", "no-sensors-yet", "sunday")
WIDTHS_PX = (320, 360, 800, 1280)
"""WCAG 2.2, 1.4.10: nothing is cut off at 320 px."""

TOO_WIDE = """
[...document.querySelectorAll('body *')].filter(e => {
  const box = e.getBoundingClientRect();
  return box.width && box.right > document.documentElement.clientWidth + 0.5;
}).map(e => e.tagName + ': ' + e.textContent.slice(0, 60))
"""
RULES = """
axe.run(document, {resultTypes: ['violations']}).then(found => found.violations.map(
  each => each.id + ': ' + each.nodes.map(node => node.target.join(' ')).slice(0, 3).join(', ')))
"""


@pytest.fixture(scope="module")
def opened() -> Iterator[Browser]:
    """One browser for all."""
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def pages(played: Callable[[str], Played]) -> dict[str, str]:
    """Pages with their pictures."""
    reports = {name: played(name).reports[-1] for name in NIGHTS}
    return {name: with_images(report.html, report.pictures) for name, report in reports.items()}


@pytest.mark.parametrize("name", NIGHTS)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width_px", WIDTHS_PX)
def test_nothing_is_cut_off_and_nothing_is_fetched(
    opened: Browser, pages: dict[str, str], tmp_path: Path, name: str, dark: bool, width_px: int
) -> None:
    """No sideways scrolling; a screenshot of the whole page is made; no address is asked for."""
    opened.show(pages[name], width_px, dark)
    opened.screenshot(tmp_path / "page.png")

    assert opened.run("document.documentElement.scrollWidth") <= width_px
    assert opened.run(TOO_WIDE) == []
    assert [address for address in opened.requests if not address.startswith("data:")] == []
    width, height = struct.unpack(">II", (tmp_path / "page.png").read_bytes()[16:24])
    assert 0 < width <= width_px
    assert height > 400


@pytest.mark.parametrize("name", NIGHTS)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width_px", [360, 1280])
def test_nobody_is_kept_out(
    opened: Browser, pages: dict[str, str], name: str, dark: bool, width_px: int
) -> None:
    """axe-core with all its rules, contrast as drawn included, finds nothing."""
    opened.show(pages[name], width_px, dark)
    opened.run(axe_script())

    assert opened.run(RULES) == []


def test_the_rules_find_what_is_wrong(opened: Browser) -> None:
    """A page with an image without words, pale text and no language: the tool does look."""
    opened.show('<body><h3 style="color:#bbb">pale</h3><img src="data:,"></body>', 360)
    opened.run(axe_script())

    found = {rule.split(":")[0] for rule in opened.run(RULES)}
    assert {"image-alt", "color-contrast", "html-has-lang"} <= found


def test_the_dark_page_is_dark_and_its_picture_stays_on_paper(opened: Browser, pages: dict[str, str]) -> None:
    """Two grounds, told apart by the browser itself."""
    page = pages["frost-with-heater-failure"]
    ground = "getComputedStyle(document.body).backgroundColor"

    opened.show(page, 800, dark=False)
    light = opened.run(ground)
    opened.show(page, 800, dark=True)

    assert opened.run(ground) != light
    assert opened.run("getComputedStyle(document.querySelector('img')).backgroundColor") == light
    assert opened.run("document.querySelector('img').naturalWidth") == 1188


def test_a_very_long_name_without_a_blank_breaks(opened: Browser, pages: dict[str, str]) -> None:
    """Eighty letters in one word, as the book allows."""
    opened.show(pages["frost-with-heater-failure"].replace("Larch 3", "L" * 80), 320)

    assert opened.run("document.documentElement.scrollWidth") <= 320
    assert opened.run(TOO_WIDE) == []
