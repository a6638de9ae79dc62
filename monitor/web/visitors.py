"""Who visits the page: signed cookies, tokens against forged requests, links for helpers. No store, no clock.

Nothing is kept in memory: a cookie says who somebody is and until when, signed with a key that dies with the
password. Instants are wall time [s].
"""

import hashlib
import hmac
import secrets
from dataclasses import dataclass, replace
from typing import Any

from itsdangerous import BadSignature, URLSafeSerializer

LASTS_S = 90 * 86400.0
"""A person must not have to type a password at three in the morning."""
RENEWED_AFTER_S = 86400.0
LONGEST_TEXT = 4000


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody at the page. `role` is `owner`, `helper` or `` (not let in); `who` is a person's id, or empty.

    `number` ties tokens to this cookie; `duty` is the entry that lets a helper in.
    """

    role: str
    number: str
    who: str = ""
    duty: str = ""
    made_at_s: float = 0.0

    @property
    def is_owner(self) -> bool:
        """Whether everything is allowed."""
        return self.role == "owner"

    @property
    def is_helper(self) -> bool:
        """Whether this is somebody on duty."""
        return self.role == "helper"


def new_visitor(role: str, now_s: float, who: str = "", duty: str = "") -> Visitor:
    """A visitor with a number of its own."""
    return Visitor(role, secrets.token_urlsafe(12), who, duty, now_s)


class Signer:
    """Signs and reads what the page hands out; `key` is secret, `password` the stored text of it."""

    def __init__(self, key: bytes, password: str = "") -> None:
        self._key = hashlib.sha256(key + b"/" + password.encode()).digest()
        self._duty_key = hashlib.sha256(key + b"/duty").digest()

    def cookie(self, visitor: Visitor) -> str:
        """The visitor as a cookie's value."""
        return self._dumps(
            "visitor", [visitor.role, visitor.number, visitor.who, visitor.duty, int(visitor.made_at_s)]
        )

    def visitor(self, cookie: str, now_s: float) -> Visitor | None:
        """The visitor that a cookie names; None where it is not ours, changed, or too old."""
        found = self._loads("visitor", cookie)
        if not isinstance(found, list) or len(found) != 5:
            return None
        role, number, who, duty, made_at_s = found
        visitor = Visitor(str(role), str(number), str(who), str(duty), float(made_at_s))
        return visitor if now_s - visitor.made_at_s <= LASTS_S else None

    def renewed(self, visitor: Visitor, now_s: float) -> Visitor | None:
        """The visitor with a fresh date, when it is time for one."""
        age_s = now_s - visitor.made_at_s
        return replace(visitor, made_at_s=now_s) if not 0 <= age_s <= RENEWED_AFTER_S else None

    def token(self, visitor: Visitor) -> str:
        """What every form of this visitor carries."""
        return self._mac(f"token/{visitor.role}/{visitor.number}")

    def is_token(self, visitor: Visitor, given: str) -> bool:
        """Whether a form came from a page that we gave to this visitor."""
        return hmac.compare_digest(self.token(visitor).encode(), given.encode())

    def message(self, value: Any) -> str:
        """A short message to the next page, as a cookie's value."""
        return self._dumps("message", value)

    def read_message(self, cookie: str) -> Any:
        """That message; None where it is not ours."""
        return self._loads("message", cookie)

    def duty_token(self, entry: str) -> str:
        """The end of a helper's link; it outlives a change of the password, and dies with its duty."""
        return f"{entry}.{hmac.new(self._duty_key, entry.encode(), hashlib.sha256).hexdigest()[:32]}"

    def duty_of(self, token: str) -> str | None:
        """The duty entry that such a link names; None where the link is not ours."""
        entry = token.rpartition(".")[0]
        return entry if hmac.compare_digest(self.duty_token(entry).encode(), token.encode()) else None

    def _mac(self, text: str) -> str:
        return hmac.new(self._key, text.encode(), hashlib.sha256).hexdigest()[:32]

    def _dumps(self, salt: str, value: Any) -> str:
        text = URLSafeSerializer(self._key, salt).dumps(value)
        return text if isinstance(text, str) else text.decode()

    def _loads(self, salt: str, text: str) -> Any:
        if not text or len(text) > LONGEST_TEXT:
            return None
        try:
            return URLSafeSerializer(self._key, salt).loads(text)
        except BadSignature:
            return None
