"""A server that says what a test tells it: for what a well-behaved broker never sends, or seldom.

Bytes are written by hand from MQTT 5.0 (published): 3.2 CONNACK, 3.3 PUBLISH, 3.9 SUBACK, 3.14 DISCONNECT.
"""

import contextlib
import socket
import threading
from collections.abc import Callable

CONNACK_OK = bytes.fromhex("2003000000")


def connack(code: int) -> bytes:
    """A CONNACK that refuses with this reason code."""
    return bytes([0x20, 3, 0, code, 0])


def connack_keep_alive(seconds: int) -> bytes:
    """A CONNACK that sets Server Keep Alive (property 0x13)."""
    return bytes([0x20, 6, 0, 0, 3, 0x13, 0, seconds])


def suback(subscribe: bytes, *codes: int) -> bytes:
    """The SUBACK to that SUBSCRIBE packet."""
    return bytes([0x90, 3 + len(codes), *subscribe[2:4], 0, *codes])


def disconnect(code: int) -> bytes:
    """A DISCONNECT with this reason code."""
    return bytes([0xE0, 2, code, 0])


def publish(topic: str, payload: bytes, mid: int) -> bytes:
    """A PUBLISH at QoS 1 of fewer than 128 bytes."""
    name = topic.encode()
    body = len(name).to_bytes(2, "big") + name + mid.to_bytes(2, "big") + b"\x00" + payload
    return bytes([0x32, len(body)]) + body


def read_packet(connection: socket.socket) -> bytes:
    """The next packet, b"" when the other side hung up; none of the tests' is longer than 16 kB."""
    packet = _exactly(connection, 2)
    if not packet:
        return b""
    length = packet[1] & 127
    if packet[1] & 128:
        more = _exactly(connection, 1)
        packet += more
        length += more[0] << 7
    return packet + _exactly(connection, length)


def read_until(connection: socket.socket, kind: int) -> bytes:
    """The next packet of this kind (upper half of the first byte); others are passed over."""
    while packet := read_packet(connection):
        if packet[0] & 0xF0 == kind:
            return packet
    return b""


class ScriptedServer:
    """Accepts connections on `port` and plays `script(connection, number)` for each, one after the other."""

    def __init__(self, script: Callable[[socket.socket, int], None]) -> None:
        self.connections = 0
        self._script = script
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._open: list[socket.socket] = []
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> "ScriptedServer":
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        self._thread.join(10)
        for connection in self._open:
            connection.close()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            self.connections += 1
            self._open.append(connection)
            with contextlib.suppress(OSError):
                self._script(connection, self.connections)
                connection.shutdown(socket.SHUT_RDWR)


def _exactly(connection: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        more = connection.recv(count - len(data))
        if not more:
            return b""
        data += more
    return data
