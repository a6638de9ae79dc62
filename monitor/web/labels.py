"""QR labels of trees: as values for the page, or as a printable page of its own. Pure."""

from collections.abc import Iterable
from typing import NamedTuple

import segno
from markupsafe import Markup

from monitor.links import tree_url
from monitor.trees.tree import Tree


class Label(NamedTuple):
    """One label: what is written on it, and its square as SVG."""

    name: str
    species: str
    address: str
    square: Markup


def labels_of(trees: Iterable[Tree], base: str) -> list[Label]:
    """A label for each tree; `base` is the page's address without a slash at its end."""
    return [
        Label(tree.name, tree.species, tree_url(base, tree.id), square(tree_url(base, tree.id)))
        for tree in trees
    ]


def square(text: str) -> Markup:
    """A QR code as SVG without a size of its own; black on white, since it is printed."""
    code = segno.make(text, error="m", micro=False)
    drawn = code.svg_inline(
        border=2, omitsize=True, dark="#000", light="#fff", svgclass="square", lineclass=None
    )
    return Markup(drawn)  # noqa: S704  segno draws it: no text of ours is inside


def labels_page(trees: Iterable[Tree], base: str, site: str) -> str:
    """A whole page to print, with its style inside."""
    from monitor.web.frame import templates

    return templates().get_template("labels_alone.html").render(labels=labels_of(trees, base), site=site)
