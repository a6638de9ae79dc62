"""How commands print: words, tables and JSON; columns drawn by rich on a terminal, plain text elsewhere."""

import json
import sys
import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import Any

WIDTH = 78


def harmless(text: str) -> str:
    """The text without anything that steers a terminal: names, topics and notes may come from anywhere."""
    return _with_each(text, lambda character: "\ufffd")


def _with_each(text: str, instead: Callable[[str], str]) -> str:
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in "\n\t" else instead(c) for c in text)


def say(text: str = "") -> None:
    """A line on standard output."""
    print(harmless(text))


def aside(text: str) -> None:
    """A line on standard error: what must not mix with the result."""
    print(harmless(text), file=sys.stderr)


def as_json(value: Any) -> None:
    """The value as JSON on standard output."""
    text = json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False)
    print(_with_each(text, lambda character: json.dumps(character)[1:-1]))


def wrapped(text: str, indent: str = "") -> str:
    """The text in lines that fit a narrow terminal."""
    return textwrap.fill(
        text, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent), break_on_hyphens=False
    )


def items(title: str, lines: Iterable[str], none: str = "") -> None:
    """A heading and its lines, each with a mark; `none` stands where there is no line."""
    found = list(lines)
    if not found and not none:
        return
    say()
    say(title)
    for line in found or [none]:
        say(wrapped(line, "  - "))


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Rows under their heads; nothing is cut off where the output is no terminal."""
    if sys.stdout.isatty():
        _draw(heads, rows)
        return
    widths = [max(len(row[column]) for row in [heads, *rows]) for column in range(len(heads))]
    for row in [heads, *rows]:
        say("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _draw(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    drawn = Table(box=None, pad_edge=False, header_style="bold")
    for head in heads:
        drawn.add_column(head)
    for row in rows:
        drawn.add_row(*(Text(harmless(cell)) for cell in row))
    Console().print(drawn)
