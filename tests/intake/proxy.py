"""A wire between client and broker that a test can let go dead without closing it."""

import contextlib
import socket
import threading


class Wire:
    """Forwards `port` to a port of this computer; `go_dead` leaves its connections open and mute."""

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._all_dead = False
        self._dead: set[socket.socket] = set()
        self._open: list[socket.socket] = []

    def go_dead(self, for_good: bool = False) -> None:
        """Nothing more passes through the connections there are; new ones work, unless it is `for_good`."""
        self._all_dead = for_good
        self._dead.update(self._open)

    def revive(self) -> None:
        """New connections work again."""
        self._all_dead = False

    def __enter__(self) -> "Wire":
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def __exit__(self, *exc: object) -> None:
        for sock in [self._server, *self._open]:
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
            sock.close()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self._server.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self._to_port))
            except OSError:
                near.close()
                continue
            self._open += [near, far]
            if self._all_dead:
                self._dead.update((near, far))
            for source, target in ((near, far), (far, near)):
                threading.Thread(target=self._forward, args=(source, target), daemon=True).start()

    def _forward(self, source: socket.socket, target: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                if source not in self._dead:
                    target.sendall(data)
            if source not in self._dead:
                target.shutdown(socket.SHUT_RDWR)
