"""The page: whole in itself, in order, safe from what people write, readable by its colours."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest
from lxml import html as lxml_html

from monitor.report import html, text
from monitor.report.markup import Html, join, tag
from monitor.report.palette import DARK, LIGHT, Palette, shape_pairs, text_pairs
from monitor.report.style import style_sheet
from monitor.report.value import Mark
from tests.report.facts import facts, follow_up, report, tree
from tests.report.nights import Played, scenarios


def contrast(one: str, other: str) -> float:
    """Published: WCAG 2.2, contrast ratio from relative luminance."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_the_contrast_formula_knows_its_ends() -> None:
    """Published: black on white is 21:1; the grey #767676 on white is 4.54:1 (WCAG's own example)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_text_can_be_read_on_its_ground(palette: Palette) -> None:
    """Published: WCAG 2.2, 1.4.3: 4.5:1 for text; 1.4.11: 3:1 for lines and shapes."""
    assert {name: pair for name, pair in text_pairs(palette).items() if contrast(*pair) < 4.5} == {}
    assert {name: pair for name, pair in shape_pairs(palette).items() if contrast(*pair) < 3.0} == {}


def test_the_page_uses_no_colour_that_is_not_in_the_palette() -> None:
    """What the test above holds is all there is."""
    known = set()
    for palette in (LIGHT, DARK):
        known |= {palette.paper, palette.sheet, palette.ink, palette.quiet, palette.rule, palette.edge}
        known |= set(palette.tones.values())

    assert set(re.findall(r"#[0-9a-f]{6}\b", style_sheet())) <= known


def test_every_mark_has_a_word_and_a_shape_of_its_own() -> None:
    """Nothing is said by colour alone; too cold and too warm share a shape and differ in words."""
    assert len({mark.word for mark in Mark}) == len(Mark)
    assert all(mark.shape and mark.tone in LIGHT.tones and mark.tone in DARK.tones for mark in Mark)


@pytest.mark.parametrize("name", scenarios())
def test_a_page_fetches_nothing_and_is_well_formed(name: str, played: Callable[[str], Played]) -> None:
    """No address, no script, no handler; independent: read by lxml."""
    page = played(name).reports[-1].html
    root = lxml_html.document_fromstring(page.encode())

    assert re.search(r"https?:|//[a-z]|url\(|@import|<script|<link|<iframe| on[a-z]+=", page) is None
    assert root.get("lang") == "en"
    assert len(root.findall(".//h1")) == 1
    levels = [int(str(each.tag)[1]) for each in root.iter("h1", "h2", "h3")]
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert {each.get("scope") for each in root.iter("th")} <= {"col", "row"}
    assert all(table.find("caption") is not None for table in root.iter("table"))


@pytest.mark.parametrize("name", scenarios())
def test_the_page_says_what_the_text_says(name: str, played: Callable[[str], Played]) -> None:
    """The same value behind both: every word of the text's sentences stands in the page, too."""
    sent = played(name).reports[-1]
    root = lxml_html.document_fromstring(sent.html.encode())
    for style in root.findall(".//style"):
        style.drop_tree()
    page = set(re.findall(r"[\w−°]+", " ".join(root.itertext())))

    layout = {"highest", "lowest", "on", "next", "wraps"}
    words = set(re.findall(r"[\w−°]+", sent.text)) - layout
    numbers_of_asks = {str(number) for number in range(1, 8)}
    assert words - page - numbers_of_asks == set()


def test_what_people_write_cannot_break_the_page() -> None:
    """A tree's name is text, wherever it stands."""
    name = "<script>alert(1)</script><b>&\" onload='x"
    hostile = replace(tree(name, low_c=-1.0), place=name)
    said = report(
        trees=(hostile,), follow_ups=(follow_up(tree_name=name, text=name),), unknown=(name,), site=name
    )

    page = html.render(said)

    root = lxml_html.document_fromstring(page)
    assert root.findall(".//script") == []
    assert root.findall(".//b") == []
    assert name in root.text_content()
    assert root.findtext(".//title") == said.subject
    assert name in text.render(said).replace("\n", " ")


def test_markup_escapes_unless_it_is_markup() -> None:
    """Text becomes text, elements stay elements, empty attributes vanish."""
    assert tag("p", ["a < b", Html("<br>")], class_="", data_head='x "y"') == (
        '<p data-head="x &quot;y&quot;">a &lt; b<br></p>'
    )
    assert tag("img", src="cid:1", alt="one") == '<img src="cid:1" alt="one">'
    assert join([None, "", "&"]) == "&amp;"


def test_sixty_trees_keep_the_page_short_at_its_top(played: Callable[[str], Played]) -> None:
    """A dozen rows on the page, the rest at its end."""
    root = lxml_html.document_fromstring(played("sixty-trees").reports[0].html.encode())
    trees, others = (table for table in root.iter("table") if table.get("class") == "wide")

    assert len(trees.findall(".//tbody/tr")) == 12
    assert len(others.findall(".//tbody/tr")) == 48
    assert facts().trees
