"""A TOML file as tables, and the line at which each key stands.

It knows TOML, never what a key means. Keys are paths such as `("sensors", "bench-a", "topic")`; an entry of a
list of tables is its number, counted from 0. For people a path is dotted, with lists counted from 1:
`calls[2].who`.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from monitor.errors import Problem, SettingsError

KeyPath = tuple[str | int, ...]

_BARE_OR_QUOTED = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(rf"^\s*({_BARE_OR_QUOTED}(?:\s*\.\s*{_BARE_OR_QUOTED})*)\s*=")
_PART = re.compile(_BARE_OR_QUOTED)
_TEXT = re.compile(r"""\"{3}|'{3}|"(?:\\.|[^"\\])*"|'[^']*'|#.*$|[\[\]{}]""")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")

_WORDS: Mapping[str, tuple[str, str]] = {
    "Cannot declare": (
        "the table is written twice.",
        "Keep one of them and move the keys of the other into it.",
    ),
    "Cannot mutate immutable": (
        "the table is written twice.",
        "Keep one of them and move the keys of the other into it.",
    ),
    "Cannot overwrite": ("the key is written twice.", "Keep one of the two lines."),
    "Duplicate inline": ("the key is written twice.", "Keep one of the two."),
    "Expected '=' after": (
        "an = is missing after the key.",
        'Write it as key = value; text stands in "quotes".',
    ),
    "Expected newline or end": (
        "something is left over after the value.",
        'Put text and times in "quotes", one key a line.',
    ),
    "Invalid value": (
        "the value is missing or is not TOML.",
        'Put text and times in "quotes"; write true and false in small letters.',
    ),
    "Illegal character": (
        "the text has no closing quote, or holds a character that cannot stand there.",
        "Close the quotes on the same line.",
    ),
    "Unterminated string": ("the text has no closing quote.", "Close the quotes."),
    "Unescaped '\\'": ("a backslash stands alone.", "Write it twice, or use 'single quotes'."),
    "Unclosed array": ("the list is not closed.", "Close it with ]."),
    "Expected ']": ("a bracket is not closed.", "Close it with ]."),
}
"""How the parser's complaint begins -> what is wrong, what to do."""


@dataclass(frozen=True, slots=True)
class Lines:
    """Where keys stand in a file, as far as its layout tells; lines count from 1."""

    lines: Mapping[KeyPath, int] = field(default_factory=dict)

    def of(self, path: KeyPath) -> int:
        """The line of the key, else of the nearest table around it, else 0."""
        for end in range(len(path), 0, -1):
            line = self.lines.get(path[:end])
            if line is not None:
                return line
        return 0


@dataclass(frozen=True, slots=True)
class TomlFile:
    """What a TOML file holds; `name` is the file as people know it."""

    name: str
    tables: Mapping[str, Any]
    lines: Lines


def dotted(path: KeyPath) -> str:
    """The path for people: `calls[2].who`, lists counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else part
    return text


def read(path: Path) -> TomlFile:
    """Read and parse a TOML file; SettingsError with the file and, where it is known, the line."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise _refusal(str(path), "there is no such file.", hint="Check the name.") from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        hint = "Check its name and its rights."
        raise _refusal(str(path), f"the file cannot be read: {reason}.", hint=hint) from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _refusal(str(path), "the file is not UTF-8 text.", line, "Save it as UTF-8.") from None
    return parse(text, str(path))


def parse(text: str, name: str) -> TomlFile:
    """Parse TOML text; `name` is the file's name for problems. SettingsError where it is not TOML."""
    text = text.replace("\r\n", "\n")
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _not_toml(str(error), text, name) from None
    return TomlFile(name, tables, find_lines(text))


def find_lines(text: str) -> Lines:
    """The line of every table and key that starts a line of its own; `text` must be valid TOML."""
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    depth, quote = 0, ""
    for number, line in enumerate(text.split("\n"), start=1):
        if depth == 0 and not quote:
            header, key = _HEADER.match(line), _KEY.match(line)
            if header:
                table = _table_path(_parts(header[2]), header[1] == "[[", counts)
                lines.setdefault(table, number)
                continue
            if key:
                path = table + _parts(key[1])
                for end in range(len(table) + 1, len(path) + 1):
                    lines.setdefault(path[:end], number)
        depth, quote = _open_after(line, depth, quote)
    return Lines(lines)


def _parts(key: str) -> KeyPath:
    """`sensors."bench-a"` as a path."""
    return tuple(part.strip("\"'") for part in _PART.findall(key))


def _table_path(parts: KeyPath, in_list: bool, counts: dict[KeyPath, int]) -> KeyPath:
    """The path of a header, with the number of each list of tables that it runs through."""
    path: KeyPath = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        if in_list and position == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _open_after(line: str, depth: int, quote: str) -> tuple[int, str]:
    """How many brackets, and which long quote, are still open after a line."""
    position = 0
    while position < len(line):
        if quote:
            end = line.find(quote, position)
            if end < 0:
                return depth, quote
            position, quote = end + 3, ""
            continue
        token = _TEXT.search(line, position)
        if token is None:
            break
        if token[0] in ('"""', "'''"):
            quote = token[0]
        elif token[0] in ("[", "{"):
            depth += 1
        elif token[0] in ("]", "}"):
            depth -= 1
        position = token.end()
    return depth, quote


def _not_toml(words: str, text: str, name: str) -> SettingsError:
    """The parser's complaint in plain words."""
    found = _AT_LINE.search(words)
    line = int(found[1]) if found else text.rstrip("\n").count("\n") + 1
    for start, (message, hint) in _WORDS.items():
        if words.startswith(start):
            return _refusal(name, message, line, hint)
    return _refusal(name, "this is not TOML.", line, "Compare it with the shipped example.")


def _refusal(name: str, message: str, line: int = 0, hint: str = "") -> SettingsError:
    return SettingsError([Problem(file=name, message=message, line=line, hint=hint)])
