"""The secrets and certificates that `[broker]` names, read anew for every connection.

So a corrected password or a renewed certificate counts at the next try, without a restart. Where a relative
name stands is the settings' business.
"""

import ssl
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import AftercareError
from monitor.intake import words
from monitor.settings import Broker

Find = Callable[[str], Path]


@dataclass(frozen=True, slots=True)
class Credentials:
    """What a connection needs to be let in; None where the configuration asks for none."""

    username: str | None = None
    password: str | None = None
    tls: ssl.SSLContext | None = None


def load(broker: Broker, find: Find) -> Credentials:
    """Read what `[broker]` names; AftercareError with one sentence if a file cannot be used."""
    password = None
    if broker.password_file:
        try:
            password = find(broker.password_file).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeError) as error:
            raise AftercareError(words.cannot_read("password_file", broker.password_file, error)) from None
    return Credentials(broker.username, password, _tls(broker, find) if broker.tls else None)


def _tls(broker: Broker, find: Find) -> ssl.SSLContext:
    try:
        context = ssl.create_default_context(cafile=find(broker.ca_file) if broker.ca_file else None)
    except OSError as error:
        raise AftercareError(words.cannot_read("ca_file", str(broker.ca_file), error)) from None
    if broker.ca_file:
        # An authority of one's own is often made by hand without the extensions that Python asks for from
        # 3.13 on; an upgrade of the system must not make the guard deaf.
        context.verify_flags &= ~ssl.VERIFY_X509_STRICT
    context.sslsocket_class = _ClosedWhenRefused
    if broker.cert_file:
        key_file = broker.key_file or broker.cert_file
        try:
            # Without a password OpenSSL would ask the terminal for the passphrase of an encrypted key.
            context.load_cert_chain(find(broker.cert_file), find(key_file), password="")
        except OSError as error:
            names = f"{broker.cert_file} or {key_file}"
            raise AftercareError(words.cannot_read("cert_file or key_file", names, error)) from None
    return context


class _ClosedWhenRefused(ssl.SSLSocket):
    """Closes itself when the handshake fails, which paho leaves to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise
