"""What went wrong with the broker, as one plain sentence each: what, where, what to do.

Pure: an exception or a reason code of MQTT 5 goes in, a sentence comes out. A person reads "message post"
for the broker; keys in square brackets are those of the configuration.
"""

import errno
import socket
import ssl
from collections.abc import Iterable

from monitor.settings import Broker

BAD_USER_NAME_OR_PASSWORD = 0x86
NOT_AUTHORISED = 0x87
TAKEN_OVER = 0x8E
_UNSUPPORTED_PROTOCOL = (0x01, 0x84)
_CLIENT_ID_NOT_VALID = 0x85
_BUSY = (0x88, 0x89, 0x97, 0x9F)
_BANNED = 0x8A
_SHUTTING_DOWN = 0x8B
SILENT = 0x8D
_RETAIN_NOT_SUPPORTED = 0x9A
_SAYS_NOTHING = (0x00, 0x80)

# OpenSSL's X509_V_ERR_... numbers (openssl/x509_vfy.h), of which Python gives no names.
_NOT_YET_VALID, _EXPIRED = 9, 10
_WRONG_NAME = (62, 64)


def place(broker: Broker) -> str:
    """`the message post at 127.0.0.1 port 1883`."""
    return f"the message post at {broker.host} port {broker.port}"


def cannot_connect(broker: Broker, error: Exception) -> str:
    """Why no connection came about, from the exception that said so."""
    where = f"{broker.host} port {broker.port}"
    if isinstance(error, ssl.SSLError):
        return _tls_failed(broker, error)
    if isinstance(error, (socket.gaierror, UnicodeError)):
        return (
            f"The message post's name {broker.host!r} was not found: correct host under [broker], "
            "or see whether this computer's network is up."
        )
    if isinstance(error, ConnectionRefusedError):
        return (
            f"No message post answers at {where}: start it (the MQTT broker, for example mosquitto), "
            "or correct host and port under [broker]."
        )
    if isinstance(error, ConnectionError):
        return closed_unanswered(broker)
    if isinstance(error, TimeoutError):
        return (
            f"Nothing came back from {where} in time: see whether that computer is on and reachable, "
            "and whether host and port under [broker] are right."
        )
    if isinstance(error, OSError) and error.errno in (errno.EHOSTUNREACH, errno.ENETUNREACH):
        return f"There is no way through the network to {where}: see whether cable, Wi-Fi and router are up."
    return f"No connection to {place(broker)} ({error}): see whether it runs, and correct [broker] if not."


def _tls_failed(broker: Broker, error: ssl.SSLError) -> str:
    where = place(broker)
    if not isinstance(error, ssl.SSLCertVerificationError):
        reason = _tls_reason(error)
        return (
            f"No encrypted connection with {where} came about ({reason}): see whether that port speaks TLS "
            "(often it is 8883) and wants cert_file and key_file under [broker]."
        )
    if error.verify_code in (_NOT_YET_VALID, _EXPIRED):
        return (
            f"The certificate of {where} is not valid today ({error.verify_message}): "
            "see whether this computer's clock is right, else renew the certificate."
        )
    if error.verify_code in _WRONG_NAME:
        return (
            f"The certificate of {where} is for another name ({error.verify_message}): "
            "set host under [broker] to the name in the certificate."
        )
    return (
        f"The certificate of {where} is not trusted ({error.verify_message}): "
        "set ca_file under [broker] to the certificate of the authority that signed it."
    )


def _tls_reason(error: ssl.SSLError) -> str:
    return str(getattr(error, "reason", None) or error).replace("_", " ").lower()


def cannot_read(key: str, name: str, error: Exception) -> str:
    """Why a file that [broker] names cannot be used."""
    if isinstance(error, ssl.SSLError):
        reason = _tls_reason(error)
    else:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
    return (
        f"The file {name} of {key} under [broker] cannot be used ({reason}): "
        "correct the name, or put a readable file there."
    )


def refused(broker: Broker, code: int, text: str) -> str:
    """Why the broker did not let us in, from the reason code of its CONNACK (MQTT 5.0, table 3-1)."""
    where = place(broker)
    if code in (BAD_USER_NAME_OR_PASSWORD, NOT_AUTHORISED):
        return (
            f"User name or password were refused by {where}: "
            "correct username and password_file under [broker]."
        )
    if code in _UNSUPPORTED_PROTOCOL:
        return f"MQTT 5 is not spoken by {where}: use one that does, for example mosquitto 1.6 or later."
    if code == _CLIENT_ID_NOT_VALID:
        return f"The client id {broker.client_id!r} was refused by {where}: change client_id under [broker]."
    if code in _BUSY:
        return f"No connection is free at {where} just now ({text}): it is tried again by itself."
    if code == _BANNED:
        return f"This client is banned by {where}: lift the ban there, or change client_id under [broker]."
    if code == _RETAIN_NOT_SUPPORTED:
        return f"Kept (retained) messages are not allowed by {where}: allow them there; its state needs one."
    return f"The connection was refused by {where} ({text}): see its own log for the reason."


def ended(broker: Broker, code: int, text: str) -> str:
    """Why a connection that stood has ended, from the reason code of the DISCONNECT (MQTT 5.0, 3.14.2.1)."""
    where = place(broker)
    if code == TAKEN_OVER:
        return (
            f"Another program uses the client id {broker.client_id!r} at {where} and pushed this one out: "
            "stop it, or give each its own client_id under [broker]."
        )
    if code == SILENT:
        return f"Nothing more is heard from {where}: see whether it and the network between are up."
    if code == _SHUTTING_DOWN:
        return f"The connection ended because {where} was shut down: start it again."
    if code == NOT_AUTHORISED:
        return f"The connection was ended by {where} (not authorised): see the rights of this user there."
    reason = "" if code in _SAYS_NOTHING else f" ({text.lower()})"
    # mosquitto 2.0.11 hangs up without a word where it should say that the session was taken over.
    return (
        f"The connection to {where} was lost{reason} and is tried again by itself: see whether it still "
        f"runs, and whether another program uses the client id {broker.client_id!r}."
    )


def closed_unanswered(broker: Broker) -> str:
    """The other side hung up before it said whether it takes us."""
    hint = (
        "see whether that port speaks TLS (often it is 8883) and wants cert_file and key_file under [broker]"
        if broker.tls
        else "see whether that port wants tls = true under [broker]"
    )
    where = place(broker)
    return f"The connection was closed without an answer by {where}: {hint}, and whether it speaks MQTT 5."


def not_mqtt(broker: Broker, error: Exception) -> str:
    """Bytes came that no MQTT 5 broker sends."""
    reason = f"{type(error).__name__}: {error}".rstrip(": ")
    return (
        f"What {place(broker)} sends is not MQTT 5 ({reason}): "
        "see whether host and port under [broker] are those of the MQTT broker."
    )


def topics_refused(broker: Broker, topics: Iterable[str]) -> str:
    """The broker does not let us read these topics."""
    names = ", ".join(sorted(topics))
    return (
        f"These topics may not be read at {place(broker)}: {names}. "
        "Allow this user to read them there (its access list), or correct topic under [sensors]."
    )


def topics_unanswered(broker: Broker) -> str:
    """No SUBACK came."""
    where = place(broker)
    return f"The request for the sensors' topics was not answered by {where}: it is tried again by itself."
