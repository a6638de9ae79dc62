"""The page's password, hashed by scrypt and sized for a small board; it knows no files and no page.

The stored text says how it was made, so that later ones may cost more: `scrypt$n=16384,r=8,p=1$SALT$HASH`,
salt and hash in base64 without padding.
"""

import base64
import binascii
import hashlib
import hmac
import re
import secrets
from typing import NamedTuple

N = 2**14
R = 8
P = 1
"""16 MiB and a fraction of a second on a small board; RFC 7914 names the parameters."""
SALT_BYTES = 16
HASH_BYTES = 32
MEMORY_BYTES = 64 * 2**20
"""More than any stored text of ours asks for: one that asks for more is refused."""
SHORTEST = 8
LONGEST = 256
_STORED = re.compile(r"scrypt\$n=(\d{1,8}),r=(\d{1,3}),p=(\d{1,2})\$([A-Za-z0-9+/]+)\$([A-Za-z0-9+/]+)")


class _Stored(NamedTuple):
    n: int
    r: int
    p: int
    salt: bytes
    digest: bytes


def make(password: str) -> str:
    """The text to store for a password of 8 to 256 characters; ValueError says what is wrong with it."""
    if len(password) < SHORTEST:
        raise ValueError(f"A password needs {SHORTEST} characters or more.")
    if len(password) > LONGEST:
        raise ValueError(f"A password can have {LONGEST} characters at most.")
    salt = secrets.token_bytes(SALT_BYTES)
    digest = _scrypt(password, _Stored(N, R, P, salt, b""))
    return f"scrypt$n={N},r={R},p={P}${_text(salt)}${_text(digest)}"


def verify(stored: str, password: str) -> bool:
    """Whether a password is the one that was stored; False also for a stored text that is none of ours."""
    known = _parsed(stored)
    if known is None or len(password) > LONGEST:
        return False
    try:
        digest = _scrypt(password, known)
    except ValueError:
        return False
    return hmac.compare_digest(digest, known.digest)


def is_stored_form(text: str) -> bool:
    """Whether a text is what `make` gives, not a password that somebody wrote down as it is."""
    return _parsed(text) is not None


def _parsed(stored: str) -> _Stored | None:
    match = _STORED.fullmatch(stored.strip())
    if match is None:
        return None
    n, r, p = (int(match[group]) for group in (1, 2, 3))
    try:
        salt, digest = _bytes(match[4]), _bytes(match[5])
    except (binascii.Error, ValueError):
        return None
    affordable = 128 * n * r * max(p, 1) <= MEMORY_BYTES
    return _Stored(n, r, p, salt, digest) if affordable and len(digest) == HASH_BYTES else None


def _scrypt(password: str, how: _Stored) -> bytes:
    return hashlib.scrypt(
        password.encode(), salt=how.salt, n=how.n, r=how.r, p=how.p, maxmem=2 * MEMORY_BYTES, dklen=HASH_BYTES
    )


def _text(value: bytes) -> str:
    return base64.b64encode(value).decode().rstrip("=")


def _bytes(text: str) -> bytes:
    return base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
