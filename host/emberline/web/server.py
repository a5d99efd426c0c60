"""The HTTP server within the daemon: small, on the loopback interface unless a person says otherwise."""

import asyncio
import contextlib
import logging
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import uvicorn
from starlette.types import ASGIApp

from emberline.service.daemon import Daemon
from emberline.web.door import is_loopback, link_of, token_of
from emberline.web.publish_page import Publish
from emberline.web.site import site

LOG = logging.getLogger(__name__)

AGAIN_S = 10.0
CLOSE_LIMIT_S = 1
MOST_CONNECTIONS = 512
"""A page takes one for its stream, and for moments some more; fifty viewers may open theirs at once."""
BACKLOG = 128
TAKE_NOTHING_MS = 20_000
"""A connection whose other end takes nothing for so long is broken off (RFC 5482, as Linux keeps it for windows of zero
too); otherwise one that was closed here would wait for ever to be rid of its last bytes."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where pages are served.

    Attributes:
        host: Name or number of an interface.
        port: Port; 0 lets the system choose.
    """

    host: str = "127.0.0.1"
    port: int = 8437


async def serve_pages(
    daemon: Daemon, address: Address, version: str, publish: Publish, told: Callable[[str], None] = lambda _: None
) -> None:
    """Serve until cancelled; where the port is taken, say so and try again, while recording goes on.

    Args:
        daemon: What the pages are about.
        address: Where to serve.
        version: Version of the software.
        publish: Makes files of a trial for a person to take away.
        told: Called with the pages' address once they are served; with the token in it where others reach them.
    """
    token = None if is_loopback(address.host) else await asyncio.to_thread(token_of, daemon.store.path.parent)
    pages = site(daemon, version, publish, token)
    while True:
        try:
            listener = await asyncio.to_thread(_listener, address)
        except OSError as error:
            words = f"no page can be served on {address.host}:{address.port}: {error.strerror or error}"
            daemon.health.warn("pages", f"{words}; choose another with --http, or none with --no-http")
            await asyncio.sleep(AGAIN_S)
            continue
        daemon.health.warn("pages", "")
        with contextlib.closing(listener):
            host, port = listener.getsockname()[:2]
            url = f"http://{f'[{host}]' if ':' in host else host}:{port}/"
            daemon.health.address = f"{url}health"
            LOG.info("pages: %s", url)
            told(url if token is None else link_of(url, token))
            try:
                await _Server(_config(pages)).serve(sockets=[listener])
            finally:
                daemon.health.address = None
        # It only comes here where uvicorn has ended by itself.
        await asyncio.sleep(AGAIN_S)


class _Server(uvicorn.Server):
    """A server that leaves the signals to the daemon, and closes everything when its task is cancelled."""

    async def serve(self, sockets: list[socket.socket] | None = None) -> None:
        try:
            await super().serve(sockets)
        except asyncio.CancelledError:
            self.force_exit = True
            await self.shutdown(sockets)
            raise

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def _config(pages: ASGIApp) -> uvicorn.Config:
    return uvicorn.Config(
        pages,
        log_config=None,
        log_level=logging.CRITICAL,
        access_log=False,
        lifespan="off",
        server_header=False,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_graceful_shutdown=CLOSE_LIMIT_S,
        ws="none",
    )


def _listener(address: Address) -> socket.socket:
    """Return a listening socket.

    Raises:
        OSError: The port is taken, or there is no such interface.
    """
    family, kind, _, _, place = socket.getaddrinfo(address.host, address.port, type=socket.SOCK_STREAM)[0]
    listener = socket.socket(family, kind)
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
