"""Whom to trust on the other side of a protected connection; the same for every notifier."""

import ssl
from collections.abc import Callable, Mapping

from monitor.delivery.notifier import refuse


def tls_context(name: str, values: Mapping[str, object], files: Callable[[str], str]) -> ssl.SSLContext:
    """A context that demands a valid certificate: one of `ca_file` if that is set, else of the system."""
    own = files(str(values["ca_file"])) if "ca_file" in values else None
    try:
        return ssl.create_default_context(cadata=own)
    except (ssl.SSLError, ValueError):
        refuse(name, [("ca_file", "the file holds no certificate.", "Give a file in PEM form.")])
        raise
