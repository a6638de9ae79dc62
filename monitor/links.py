"""Addresses that stand outside the page: in notices, on labels, in a helper's link. Pure."""

import ipaddress
from typing import TYPE_CHECKING
from urllib.parse import quote

if TYPE_CHECKING:
    from monitor.settings import Web

ANY_ADDRESS = frozenset({"0.0.0.0", "::"})  # noqa: S104  it is compared with, never listened on


def host_of(text: str) -> str:
    """A Host header or a setting without its port: `[::1]:8380` -> `::1`; small letters."""
    text = text.strip().lower()
    if text.startswith("["):
        return text[1:].partition("]")[0]
    return text.partition(":")[0].rstrip(".") if text.count(":") <= 1 else text


def is_loopback(host: str) -> bool:
    """Whether a host is this machine itself, and an address of ours there can only be reached from it."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


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


def on_the_page(web: "Web", path: str) -> str:
    """The line of a notice that leads to the page; nothing where only this machine would find it."""
    return "" if is_only_here(web) else f"\nOn the page: {base_url(web)}{path}"


def tree_url(base: str, tree: str) -> str:
    """A tree's page."""
    return f"{base}/tree/{quote(tree)}"


def notice_path(notice: str) -> str:
    """What a notice said, and what stands of it: `/notice/...`."""
    return f"/notice/{quote(notice, safe=':')}"


def report_path(date: str) -> str:
    """A morning report: `/report/2027-01-17`."""
    return f"/report/{quote(date)}"


def duty_url(base: str, token: str) -> str:
    """A helper's link."""
    return f"{base}/helper/{quote(token)}"
