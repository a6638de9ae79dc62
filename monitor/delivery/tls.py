"""Whom to trust on the other side of a protected connection; the same for every notifier."""

import ssl
from collections.abc import Callable, Mapping

from monitor.delivery.notifier import refuse


def tls_context(name: str, values: Mapping[str, object], files: Callable[[str], str]) -> ssl.SSLContext:
    """A context that demands a valid certificate: one of `ca_file` if that is set, else of the system."""
    own = files(str(values["ca_file"])) if "ca_file" in values else None
    try:
        context = ssl.create_default_context(cadata=own)
    except (ssl.SSLError, ValueError):
        refuse(name, [("ca_file", "the file holds no certificate.", "Give a file in PEM form.")])
        raise
    if own is not None:
        # An authority of one's own is often made by hand without the extensions that Python asks for from
        # 3.13 on; an upgrade of the system must not make the house mute.
        context.verify_flags &= ~ssl.VERIFY_X509_STRICT
    return context
