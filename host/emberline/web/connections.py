"""Connections to the pages: never so many, and none silent for so long, that recording would run short of files."""

import asyncio
import socket
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

MOST_CONNECTIONS = 512
"""A page takes one for its stream, and for moments some more; fifty viewers may open theirs at once. Half of the files
that a program may have open on Linux unless it is told otherwise (1,024)."""
SILENT_S = 20.0
"""A connection on which no request is asked or answered for so long is broken off."""
BACKLOG = 128
TAKE_NOTHING_MS = 20_000
"""A connection whose other end takes nothing for so long is broken off (RFC 5482, as Linux keeps it for windows of zero
too); otherwise one that was closed here would wait for ever to be rid of its last bytes."""


class Listener(socket.socket):
    """A listening socket that takes so many connections and hangs up on more, before any of their bytes is read."""

    _taken: frozenset[socket.socket] = frozenset()

    def accept(self) -> tuple[socket.socket, Any]:
        """Take a connection.

        Raises:
            ConnectionAbortedError: It is one too many; an event loop goes on.
        """
        one, peer = super().accept()
        still_open = frozenset(other for other in self._taken if other.fileno() != -1)
        if len(still_open) >= MOST_CONNECTIONS:
            one.close()
            raise ConnectionAbortedError
        self._taken = still_open | {one}
        return one, peer


def listening(host: str, port: int) -> Listener:
    """Return a listening socket.

    Args:
        host: Name or number of an interface.
        port: Port; 0 lets the system choose.

    Raises:
        OSError: The port is taken, or there is no such interface.
    """
    family, kind, _, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    listener = Listener(family, kind)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if hasattr(socket, "TCP_USER_TIMEOUT"):  # Linux
            listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, TAKE_NOTHING_MS)
        listener.bind(place)
        listener.listen(BACKLOG)
        listener.setblocking(False)
    except OSError:
        listener.close()
        raise
    return listener


class Connection(H11Protocol):
    """A connection that ends where its other end begins a request and does not go on, or sends what nobody reads."""

    _look_again: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin."""
        super().connection_made(transport)
        self._look(None)

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        if self._look_again is not None:
            self._look_again.cancel()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP; an answer that is under way then, or was given already, is all there is."""
        if self.cycle is not None:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            super().send_400_response(msg)
        else:
            self.transport.abort()

    def _look(self, before: RequestResponseCycle | None) -> None:
        if self._look_again is not None and self.cycle is before and (before is None or before.response_complete):
            self.transport.abort()
            return
        self._look_again = self.loop.call_later(SILENT_S, self._look, self.cycle)
