"""Rules for the keys of a notifier's settings, so that each kind only lists them; it knows no kind.

No message repeats a value: an address may carry a token.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

from monitor.delivery.notifier import Finding

LONGEST_TIMEOUT_S = 50.0
"""A notifier must give up by itself before it is left alone (see `workers.DEADLINE_S`)."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What may stand at one key: `what` in words, and the test."""

    what: str
    fits: Callable[[object], bool]
    required: bool = False


def findings(rules: Mapping[str, Rule], values: Mapping[str, object]) -> list[Finding]:
    """Unknown, missing and wrong keys, in the order of the values, then of the rules."""
    found: list[Finding] = []
    for key, value in values.items():
        rule = rules.get(key)
        if rule is None:
            found.append(
                (key, "this key is not known here.", f"It may be one of: {', '.join(rules) or 'none'}.")
            )
        elif not rule.fits(value):
            found.append((key, f"this must be {rule.what}.", ""))
    found += [
        (key, "this key is missing.", f"Give {rule.what}.")
        for key, rule in rules.items()
        if rule.required and key not in values
    ]
    return found


def text(what: str, required: bool = False) -> Rule:
    """Some printable text on one line."""
    return Rule(
        what, lambda value: isinstance(value, str) and bool(value.strip()) and value.isprintable(), required
    )


_HOST = re.compile(r"[A-Za-z0-9_-]{1,63}(\.[A-Za-z0-9_-]{1,63})*\.?|[0-9A-Fa-f:]*:[0-9A-Fa-f:.]*")
"""A name, an IPv4 address or something like an IPv6 address."""


def host(of: str) -> Rule:
    """A machine's name or address."""
    return Rule(
        f"the name or address of {of}",
        lambda value: isinstance(value, str) and len(value) < 254 and bool(_HOST.fullmatch(value)),
        required=True,
    )


def whole(lowest: int, highest: int) -> Rule:
    """A whole number."""
    return Rule(
        f"a whole number from {lowest} to {highest}",
        lambda value: isinstance(value, int) and not isinstance(value, bool) and lowest <= value <= highest,
    )


def timeout() -> Rule:
    """How long to wait for the other side [s]."""
    return Rule(
        f"a number of seconds from 1 to {LONGEST_TIMEOUT_S:g}",
        lambda value: (
            isinstance(value, int | float) and not isinstance(value, bool) and 1 <= value <= LONGEST_TIMEOUT_S
        ),
    )


def one_of(*words: str) -> Rule:
    """One of a few words."""
    return Rule(f"one of {', '.join(words)}", lambda value: value in words)


_ADDRESS = re.compile(r"[!-~]+@[!-~]+")


def is_mail_address(value: object) -> bool:
    """Whether it is one bare mail address in ASCII, as `house@example.org`."""
    return isinstance(value, str) and bool(_ADDRESS.fullmatch(value)) and not set(value) & set('<>,;:"\\()[]')


def mail_address() -> Rule:
    """One mail address."""
    return Rule("one mail address such as house@example.org", is_mail_address, required=True)


def mail_addresses() -> Rule:
    """A list of at least one mail address."""
    return Rule(
        'a list of mail addresses such as ["grower@example.org"]',
        lambda value: isinstance(value, list | tuple) and bool(value) and all(map(is_mail_address, value)),
        required=True,
    )


def is_web_address(value: object) -> bool:
    """Whether it is an http or https address with a host, a possible port and no user name in it."""
    if not isinstance(value, str) or not value.isascii() or not value.isprintable() or " " in value:
        return False
    try:
        parts = urlsplit(value)
        port = parts.port
    except ValueError:
        return False
    return (
        parts.scheme in ("http", "https") and bool(parts.hostname) and port != 0 and "@" not in parts.netloc
    )


def web_address() -> Rule:
    """An address to post to."""
    return Rule("an address such as https://example.org/in, without a user name in it", is_web_address, True)
