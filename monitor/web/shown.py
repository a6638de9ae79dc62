"""Pages that were just drawn, for whoever asks for the same within a second: a flood is drawn once a second.

A page is kept with marks where each visitor's token and each form's number stand; they are random, so that no
text that people wrote can be taken for one.
"""

import secrets
import threading
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any, NamedTuple

LASTS_S = 1.0
AT_MOST = 32
TOKEN_MARK = secrets.token_hex(16)
ONCE_MARK = secrets.token_hex(16)

Key = tuple[str, ...]


class Drawn(NamedTuple):
    """A page as it was drawn: its text with marks, and headers of its own."""

    text: str
    headers: Mapping[str, str]

    def filled(self, token: str) -> str:
        """The page for one visitor."""
        return self.text.replace(TOKEN_MARK, token).replace(ONCE_MARK, secrets.token_hex(8))


class Shown:
    """Drawn pages by their key; several threads may ask. `state` is what they were drawn from."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[Key, tuple[float, Any, Drawn]] = OrderedDict()

    def find(self, key: Key, state: tuple[Any, ...], now_s: float) -> Drawn | None:
        """The page, if it is young and what it shows is still so."""
        with self._lock:
            found = self._kept.get(key)
        if found is None or now_s - found[0] > LASTS_S or not _same(found[1], state):
            return None
        return found[2]

    def keep(self, key: Key, state: tuple[Any, ...], now_s: float, drawn: Drawn) -> None:
        """A page was drawn."""
        with self._lock:
            self._kept.pop(key, None)
            self._kept[key] = (now_s, state, drawn)
            while len(self._kept) > AT_MOST:
                self._kept.popitem(last=False)


def _same(before: tuple[Any, ...], now: tuple[Any, ...]) -> bool:
    """The very same values, not only equal ones: they are frozen, and large."""
    return all(one is other for one, other in zip(before, now, strict=True))
