"""What somebody probably meant: the nearest known word. It knows letters, nothing else."""

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(word: str, known: Iterable[str]) -> str:
    """`Did you mean "house"?`, else the list of what is known, else nothing where nothing is."""
    words = sorted(known)
    close = get_close_matches(word.lower(), words, n=1)
    if close:
        return f'Did you mean "{close[0]}"?'
    return f"Known are: {', '.join(words)}." if words else ""


def one_of(words: Iterable[str]) -> str:
    """`a, b or c`."""
    *most, last = words
    return f"{', '.join(most)} or {last}" if most else last
