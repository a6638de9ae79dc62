"""Text that cannot do harm where it lands: in a terminal, a header line, an XML file. Pure.

Names of trees and replies of servers are other people's text and may carry anything.
"""

import unicodedata

_SHUN = frozenset(("Cc", "Cs", "Cn", "Co", "Zl", "Zp"))
"""Controls, halves of surrogate pairs, unassigned and private characters, line and paragraph separators."""
_TURNERS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
"""Characters that turn the direction of writing, and so can make a text read as another one."""


def plain(text: str) -> str:
    """The text with its lines, without any other control character; every line end is one `\\n`."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join("".join(map(_harmless, line)) for line in lines)


def one_line(text: str, longest: int = 900) -> str:
    """The text as one line with single spaces, cut after `longest` characters."""
    line = " ".join("".join(map(_harmless, text)).split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def file_safe(text: str) -> str:
    """The text as a part of a file name or identifier: anything but letters, digits, `.`, `-` becomes `_`."""
    safe = "".join(char if (char.isascii() and char.isalnum()) or char in ".-" else "_" for char in text)
    return safe.lstrip(".")[:120] or "_"


def _harmless(char: str) -> str:
    """The character itself, or what stands for it."""
    if char in _TURNERS:
        return ""
    return " " if unicodedata.category(char) in _SHUN else char
