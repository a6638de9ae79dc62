"""Asks a running daemon over its socket; the page's own interface."""

import http.client
import json
import socket
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from monitor.errors import AftercareError, NotRunning, UsageError
from monitor.settings import Settings
from monitor.web.socket_path import socket_path

TIMEOUT_S = 130.0
"""A drill waits for two deadlines of a notifier."""
REFUSED = 409
LONGEST_BODY = 4_000_000
"""What the daemon takes at once [bytes]."""


class _UnixConnection(http.client.HTTPConnection):
    """HTTP over a Unix socket."""

    def __init__(self, path: Path) -> None:
        super().__init__("localhost", timeout=TIMEOUT_S)
        self._path = path

    def connect(self) -> None:
        """Open the socket."""
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(TIMEOUT_S)
        self.sock.connect(str(self._path))


class Daemon:
    """The daemon that owns an installation's state, if it runs."""

    def __init__(self, settings: Settings, environ: Mapping[str, str]) -> None:
        self._path = socket_path(Path(settings.state.directory), environ)

    def get(self, path: str) -> Any:
        """The answer to a question; NotRunning when nobody answers."""
        return self._ask("GET", path, None)

    def lines(self, path: str) -> Iterator[Mapping[str, Any]]:
        """An answer of many lines of JSON, one by one as they come."""
        connection = _UnixConnection(self._path)
        try:
            connection.request("GET", path)
            answer = connection.getresponse()
            if answer.status >= 400:
                raise AftercareError(f"The daemon refused ({answer.status}).", "Its log says more.")
            for line in answer:
                yield json.loads(line)
        except (OSError, http.client.HTTPException) as error:
            raise NotRunning("The daemon broke off in the middle.", "See whether it still runs.") from error
        finally:
            connection.close()

    def post(self, path: str, body: Mapping[str, Any]) -> Any:
        """The answer to a request that changes something; AftercareError when it was refused."""
        return self._ask("POST", path, body)

    def enter(self, given: str | Sequence[Mapping[str, Any]], by: str, file: str = "") -> Mapping[str, Any]:
        """Entries for the book, or the text of a file of them: `{entries, remarks}` once they are kept."""
        try:
            answer = self.post("/api/book", {"entries": given, "by": by})
        except UsageError as error:
            lines = error.message.splitlines()
            placed = [f"{file}, {line}" if file and line.startswith("line ") else line for line in lines]
            raise UsageError("\n".join(placed)) from error
        value: Mapping[str, Any] = answer["value"]
        return value

    def runs(self) -> bool:
        """Whether a daemon answers."""
        try:
            self.get("/api/alarms")
        except NotRunning:
            return False
        return True

    def _ask(self, method: str, path: str, body: Mapping[str, Any] | None) -> Any:
        connection = _UnixConnection(self._path)
        data = None if body is None else json.dumps(body).encode()
        if data is not None and len(data) > LONGEST_BODY:
            raise UsageError("This is more than the daemon takes at once (4 MB).", "Hand it in in parts.")
        try:
            connection.request(method, path, data, {"Content-Type": "application/json"} if data else {})
            answer = connection.getresponse()
            text = answer.read()
        except (OSError, http.client.HTTPException) as error:
            raise NotRunning(
                "The daemon is not running, or not for this state directory.",
                "Start it with `aftercare run`.",
            ) from error
        finally:
            connection.close()
        try:
            value = json.loads(text) if text else None
        except ValueError:
            raise AftercareError(
                f"The daemon failed to answer ({answer.status}).", "Its log says more."
            ) from None
        if answer.status >= 400:
            message = (value or {}).get("message") or f"The daemon refused ({answer.status})."
            raise UsageError(message) if answer.status == REFUSED else AftercareError(message)
        return value
