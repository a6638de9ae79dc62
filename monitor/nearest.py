"""What somebody probably meant: the nearest known word. It knows letters, nothing else."""

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(word: str, known: Iterable[str], otherwise: str | None = None) -> str:
    """`Did you mean "house"?`; where nothing is near, `otherwise`, else the list of what is known."""
    words = {each.lower(): each for each in sorted(known)}
    close = get_close_matches(word.lower(), words, n=1)
    if close:
        return f'Did you mean "{words[close[0]]}"?'
    if otherwise is not None:
        return otherwise
    return f"Known are: {', '.join(words.values())}." if words else ""


def one_of(words: Iterable[str]) -> str:
    """`a, b or c`."""
    *most, last = words
    return f"{', '.join(most)} or {last}" if most else last
