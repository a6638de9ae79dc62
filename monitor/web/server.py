"""Serves the app on its two sockets from a thread of its own; the guard never waits for it."""

import contextlib
import logging
import os
import socket
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.errors import AftercareError
from monitor.web.socket_path import socket_path

if TYPE_CHECKING:
    from monitor.app import Guard

STOP_WITHIN_S = 3.0
_log = logging.getLogger(__name__)


@contextlib.contextmanager
def serve(guard: "Guard", environ: Mapping[str, str]) -> Iterator[Path]:
    """Serve until the block ends; gives the path of the command line's socket.

    A page address that is taken is said and left out: guarding goes before showing.
    """
    import uvicorn

    from monitor.web.page import make_app

    path = socket_path(Path(guard.settings.state.directory), environ)
    sockets = [_unix(path)]
    with contextlib.suppress(AftercareError):
        sockets.append(_tcp(guard.settings.web.listen))
    config = uvicorn.Config(
        make_app(guard), log_config=None, access_log=False, lifespan="off", timeout_keep_alive=15,
        limit_concurrency=64, timeout_graceful_shutdown=2, server_header=False, date_header=True,
    )  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": sockets}, name="web", daemon=True)
    thread.start()
    try:
        yield path
    finally:
        server.should_exit = True
        thread.join(STOP_WITHIN_S)
        for sock in sockets:
            sock.close()
        path.unlink(missing_ok=True)


def _unix(path: Path) -> socket.socket:
    """A fresh socket with mode 0660; what an earlier run left behind goes first."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(0o117)
    try:
        sock.bind(str(path))
    finally:
        os.umask(before)
    sock.listen(64)
    return sock


def _tcp(listen: str) -> socket.socket:
    host, _, port = listen.rpartition(":")
    host = host.strip("[]")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, int(port)))
    except OSError as error:
        sock.close()
        _log.warning("The page is not served: %s is not to be had (%s).", listen, error.strerror)
        raise AftercareError(f"The page's address {listen} is not to be had.") from error
    sock.listen(64)
    return sock
