"""Text that cannot do harm where it lands: in a terminal, a header line, an XML file. Pure.

Names of trees and replies of servers are other people's text and may carry anything.
"""

import hashlib
import unicodedata

_SHUN = frozenset(("Cc", "Cs", "Cn", "Co", "Zl", "Zp"))
"""Controls, halves of surrogate pairs, unassigned and private characters, line and paragraph separators."""
LONGEST_IN_NAME = 96
"""Two of these and an instant fit into a file name of 255 bytes."""

_TURNERS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
"""Characters that turn the direction of writing, and so can make a text read as another one."""


def plain(text: str) -> str:
    """The text with its lines, without any other control character; every line end is one `\\n`."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join(map(_harmless_line, lines))


def one_line(text: str, longest: int = 900) -> str:
    """The text as one line with single spaces, cut after `longest` characters."""
    line = " ".join(_harmless_line(text).split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def file_safe(text: str) -> str:
    """The text as a part of a file name or identifier: anything but letters, digits, `.`, `-` becomes `_`.

    Of a long text the end becomes a digest, so that two long texts stay different.
    """
    safe = "".join(char if (char.isascii() and char.isalnum()) or char in ".-" else "_" for char in text)
    if len(safe) > LONGEST_IN_NAME:
        digest = hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:16]
        safe = f"{safe[: LONGEST_IN_NAME - 17]}-{digest}"
    return safe.lstrip(".") or "_"


def _harmless_line(line: str) -> str:
    """The line without what could do harm; nearly all lines have nothing of it."""
    return line if line.isprintable() else "".join(map(_harmless, line))


def _harmless(char: str) -> str:
    """The character itself, or what stands for it."""
    if char in _TURNERS:
        return ""
    return " " if unicodedata.category(char) in _SHUN else char
