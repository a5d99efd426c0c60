"""The HTTP server within the daemon: small, on the loopback interface unless a person says otherwise."""

import asyncio
import contextlib
import logging
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from emberline.service.daemon import Daemon
from emberline.web.connections import Connection, listening
from emberline.web.door import is_loopback, link_of, token_of
from emberline.web.publish_page import Publish
from emberline.web.site import site

LOG = logging.getLogger(__name__)

AGAIN_S = 10.0
CLOSE_LIMIT_S = 1


@dataclass(frozen=True, slots=True)
class Address:
    """Where pages are served.

    Attributes:
        host: Name or number of an interface.
        port: Port; 0 lets the system choose.
        certificate: File with the certificate by which the pages are served encrypted; None for plain HTTP.
        key: File with its key.
    """

    host: str = "127.0.0.1"
    port: int = 8437
    certificate: Path | None = None
    key: Path | None = None


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
    pages = site(daemon, version, publish, token, address.host)
    while True:
        try:
            config = await asyncio.to_thread(_config, pages, address)
            listener = await asyncio.to_thread(listening, address.host, address.port)
        except OSError as error:
            words = f"no page can be served on {address.host}:{address.port}: {error.strerror or error}"
            daemon.health.warn("pages", f"{words}; choose another with --http, or none with --no-http")
            await asyncio.sleep(AGAIN_S)
            continue
        daemon.health.warn("pages", "")
        with contextlib.closing(listener):
            host, port = listener.getsockname()[:2]
            kind = "http" if address.certificate is None else "https"
            url = f"{kind}://{f'[{host}]' if ':' in host else host}:{port}/"
            daemon.health.address = f"{url}health"
            LOG.info("pages: %s", url)
            told(url if token is None else link_of(url, token))
            try:
                await _Server(config).serve(sockets=[listener])
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


def _config(pages: ASGIApp, address: Address) -> uvicorn.Config:
    """Return how the pages are served.

    Raises:
        OSError: The certificate or its key cannot be used.
    """
    config = uvicorn.Config(
        pages,
        http=Connection,
        ssl_certfile=address.certificate,
        ssl_keyfile=address.key,
        log_config=None,
        log_level=logging.CRITICAL,
        access_log=False,
        lifespan="off",
        server_header=False,
        timeout_graceful_shutdown=CLOSE_LIMIT_S,
        ws="none",
    )
    config.load()
    return config
