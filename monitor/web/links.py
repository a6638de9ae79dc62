"""Addresses that stand outside the page: in notices, on labels, in a helper's link. Pure."""

from typing import TYPE_CHECKING
from urllib.parse import quote

from monitor.web.door import host_of, is_loopback

if TYPE_CHECKING:
    from monitor.settings import Web

ANY_ADDRESS = frozenset({"0.0.0.0", "::"})  # noqa: S104  it is compared with, never listened on


def base_url(web: "Web") -> str:
    """Where the page is found: by its first own name, else by the address that it listens on; no slash."""
    scheme = "https" if web.tls_cert_file else "http"
    host, _, port = web.listen.rpartition(":")
    host = host.strip("[]")
    named = next((name for name in web.hosts if not is_loopback(host_of(name))), "")
    if named:
        if is_loopback(host) and ":" not in named:
            return f"https://{named}"
        return f"{scheme}://{named}" if ":" in named else f"{scheme}://{named}:{port}"
    host = "localhost" if host in ANY_ADDRESS else host
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}"


def is_only_here(web: "Web") -> bool:
    """Whether that address is found by this machine only."""
    named = any(not is_loopback(host_of(name)) for name in web.hosts)
    host = host_of(web.listen)
    return not named and (is_loopback(host) or host in ANY_ADDRESS)


def tree_url(base: str, tree: str) -> str:
    """A tree's page."""
    return f"{base}/tree/{quote(tree)}"


def notice_url(base: str, notice: str) -> str:
    """The page of now, at what a notice speaks of."""
    return f"{base}/notice/{quote(notice, safe='')}"


def report_url(base: str, date: str) -> str:
    """A morning report."""
    return f"{base}/report/{quote(date)}"


def duty_url(base: str, token: str) -> str:
    """A helper's link."""
    return f"{base}/helper/{quote(token)}"
