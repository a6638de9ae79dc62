"""Serves the command line's socket and the page's address, each from a thread of its own.

A page that is slow, flooded or shut is nothing that the command line or the guard would notice.
"""

import contextlib
import logging
import os
import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.errors import AftercareError
from monitor.settings import read_secret, secret_path
from monitor.web.passwords import is_stored_form
from monitor.web.socket_path import socket_path

if TYPE_CHECKING:
    from uvicorn import Server

    from monitor.app import Guard

STOP_WITHIN_S = 3.0
CONNECTIONS = 200
NOT_SERVED = "The %s is not served: %s"
_log = logging.getLogger(__name__)


@contextlib.contextmanager
def serve(guard: "Guard", environ: Mapping[str, str]) -> Iterator[Path]:
    """Serve until the block ends; gives the path of the command line's socket.

    A page that cannot be served is said and left out: guarding goes before showing.
    """
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    path = socket_path(Path(guard.settings.state.directory), environ)
    ways: tuple[tuple[str, Callable[[], socket.socket], Callable[[], Server]], ...] = (
        ("socket", lambda: _unix(path), lambda: _socket_server(guard)),
        ("page", lambda: _tcp(guard.settings.web.listen), lambda: _page_server(guard)),
    )
    served = []
    for name, listen, make in ways:
        try:
            served.append(_Serving(name, listen(), make))
        except (AftercareError, OSError) as error:
            _log.warning(NOT_SERVED, name, error)
    for each in served:
        each.start()
    try:
        yield path
    finally:
        for each in served:
            each.end()
        for each in served:
            each.wait()
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)


class _Serving:
    """One server on one socket in one thread; it is made there, too, so that nothing waits for that."""

    def __init__(self, name: str, sock: socket.socket, make: "Callable[[], Server]") -> None:
        self._sock = sock
        self._make = make
        self._server: Server | None = None
        self._is_over = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def _run(self) -> None:
        try:
            self._server = self._make()
        except (AftercareError, OSError) as error:
            _log.warning(NOT_SERVED, self._thread.name, error)
            self._sock.close()
            return
        self._server.should_exit = self._is_over
        self._server.run(sockets=[self._sock])

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def end(self) -> None:
        """Answer what is under way, then no more."""
        self._is_over = True
        if self._server is not None:
            self._server.should_exit = True

    def wait(self) -> None:
        """Until it has ended, but not for ever."""
        self._thread.join(STOP_WITHIN_S)
        self._sock.close()


def _server(app: Any, **options: Any) -> "Server":
    import uvicorn

    config = uvicorn.Config(
        app, log_config=None, access_log=False, lifespan="off", timeout_keep_alive=15,
        timeout_graceful_shutdown=2, server_header=False, ws="none", **options,
    )  # fmt: skip
    config.load()
    return uvicorn.Server(config)


def _socket_server(guard: "Guard") -> "Server":
    from monitor.web.api import make_socket_app

    return _server(make_socket_app(guard), limit_concurrency=64)


def _page_server(guard: "Guard") -> "Server":
    """The page; AftercareError or OSError says why it cannot be had."""
    from monitor.web.page import make_page
    from monitor.web.patience import PatientProtocol

    web = guard.settings.web
    options: dict[str, Any] = {"http": PatientProtocol, "limit_concurrency": CONNECTIONS}
    if web.tls_cert_file and web.tls_key_file:
        options["ssl_certfile"] = str(secret_path(guard.settings, web.tls_cert_file))
        options["ssl_keyfile"] = str(secret_path(guard.settings, web.tls_key_file))
    return _server(make_page(guard, stored_password(guard)), **options)


def stored_password(guard: "Guard") -> str | None:
    """The stored form of the page's password; None where none is set; AftercareError where it is not ours."""
    name = guard.settings.web.password_file
    if name is None:
        return None
    stored = read_secret(guard.settings, name)
    if not is_stored_form(stored):
        raise AftercareError(f"{name} does not hold what `aftercare web password` writes.", "Type it again.")
    return stored


def _unix(path: Path) -> socket.socket:
    """A fresh socket with mode 0660; what an earlier run left behind goes first."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if path.parent.stat().st_uid not in (0, os.geteuid()) and os.geteuid():
        raise AftercareError(f"{path.parent} belongs to somebody else.", "Take it away, and start again.")
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
    sock = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, int(port)))
    except OSError as error:
        sock.close()
        raise AftercareError(f"{listen} is not to be had ({error.strerror}).") from error
    sock.listen(64)
    return sock
