"""Tells the service manager that runs us how we are: one datagram of lines, as sd_notify(3) describes.

Without a manager (`$NOTIFY_SOCKET` is not set) it does nothing. What is said, and when, is for the caller:
`WATCHDOG=1` means that a pass is complete, so no timer may say it.
"""

import contextlib
import os
import socket

LONGEST_WAIT_S = 1.0
"""A manager that is too busy to listen must not keep anybody from guarding."""


def notify(lines: str) -> None:
    """Send lines such as `READY=1` or `WATCHDOG=1`; a manager that does not listen is no error."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.settimeout(LONGEST_WAIT_S)
        sock.sendto(lines.encode(), address)
