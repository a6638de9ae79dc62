"""Tells the service manager that runs us how we are: one datagram of lines, as sd_notify(3) describes.

Without a manager (`$NOTIFY_SOCKET` is not set) it does nothing.
"""

import contextlib
import os
import socket


def notify(lines: str) -> None:
    """Send lines such as `READY=1` or `WATCHDOG=1`; a manager that does not listen is no error."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.sendto(lines.encode(), address)
