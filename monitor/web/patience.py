"""The HTTP protocol of the page with an end to its patience: for slow clients, and for many from one address.

A connection has a deadline for each whole request, another for its whole life, and an address may hold only
so many. Without it a few idle connections would keep everybody else out.
"""

import asyncio
from typing import Any, cast

from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_WITHIN_S = 10.0
"""From the connection, or the last answer, to a whole head of a request."""
LIVES_S = 75.0
FROM_ONE_ADDRESS = 12


class PatientProtocol(H11Protocol):
    """uvicorn's own protocol, cut off where it would wait for ever."""

    _asked_by: asyncio.TimerHandle | None = None
    _ends: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A client: unless its address holds too many already."""
        super().connection_made(transport)
        if self._from_same_address() > FROM_ONE_ADDRESS:
            transport.abort()
            return
        self._wait_for_request()
        self._ends = self.loop.call_later(LIVES_S, transport.abort)

    def connection_lost(self, exc: Exception | None) -> None:
        """Gone: nothing more to wait for."""
        for timer in (self._asked_by, self._ends):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def handle_events(self) -> None:
        """Bytes came: a whole head stops the first clock, half a one does not."""
        before = self.cycle
        super().handle_events()
        if self.cycle is not before and self._asked_by is not None:
            self._asked_by.cancel()

    def on_response_complete(self) -> None:
        """Answered: the next request is waited for anew."""
        self._wait_for_request()
        super().on_response_complete()

    def _wait_for_request(self) -> None:
        if self._asked_by is not None:
            self._asked_by.cancel()
        self._asked_by = self.loop.call_later(REQUEST_WITHIN_S, self.transport.abort)

    def _from_same_address(self) -> int:
        address = self._address(self)
        held = cast("set[Any]", self.server_state.connections)
        return sum(self._address(other) == address for other in held)

    @staticmethod
    def _address(protocol: Any) -> str | None:
        client = getattr(protocol, "client", None)
        return None if client is None else client[0]
