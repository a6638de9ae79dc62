"""HTML that cannot be broken by what people write: text is escaped unless it was made here; pure."""

from collections.abc import Iterable
from html import escape

EMPTY = frozenset({"br", "img", "meta"})


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


Content = str | Iterable["str | None"]
"""One piece or several; None and empty pieces are left out."""


def tag(name: str, content: Content = (), /, **attributes: str) -> Html:
    """An element. `class_` is written `class`, `data_x` as `data-x`; an empty attribute is left out."""
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
        if value
    )
    if name in EMPTY:
        return Html(f"<{name}{said}>")
    return Html(f"<{name}{said}>{join(content)}</{name}>")


def join(content: Content) -> Html:
    """Pieces one after the other."""
    pieces = [content] if isinstance(content, str) else content
    return Html("".join(piece if isinstance(piece, Html) else escape(piece or "") for piece in pieces))
