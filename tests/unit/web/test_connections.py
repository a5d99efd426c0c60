"""Connections: many, silent and half-asked ones leave the daemon its files."""

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
import uvicorn
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import RequestResponseCycle

from emberline.web import connections as module
from emberline.web.connections import Connection, listening

ASK = b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"
HERE = PlainTextResponse("here")  # a response is an application


@asynccontextmanager
async def served(app: ASGIApp = HERE) -> AsyncIterator[int]:
    config = uvicorn.Config(
        app,
        http=Connection,
        log_config=None,
        lifespan="off",
        timeout_keep_alive=60,
        timeout_graceful_shutdown=1,
    )
    config.load()
    server = uvicorn.Server(config)
    with listening("127.0.0.1", 0) as listener:
        # Its signals stay the test's own.
        task = asyncio.create_task(server._serve([listener]))
        try:
            yield listener.getsockname()[1]
        finally:
            server.should_exit = True
            await asyncio.wait([task], timeout=10.0)
            await task


async def answer(reader: asyncio.StreamReader) -> bytes:
    """Return an answer's first line, or nothing where the connection is broken off; the rest is left unread."""
    try:
        async with asyncio.timeout(10.0):
            return await reader.readline()
    except ConnectionError:
        return b""


async def test_one_connection_too_many_is_hung_up_on_until_another_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_CONNECTIONS", 3)
    async with served() as port:
        held = [await asyncio.open_connection("127.0.0.1", port) for _ in range(3)]
        for reader, writer in held:
            writer.write(ASK)
            assert b"200" in await answer(reader)
        reader, more = await asyncio.open_connection("127.0.0.1", port)
        more.write(ASK)
        assert await answer(reader) == b""
        more.close()
        held.pop()[1].close()
        async with asyncio.timeout(10.0):
            while True:
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
                writer.write(ASK)
                found = await answer(reader)
                writer.close()
                if found:
                    break
        assert b"200" in found
        for _, writer in held:
            writer.close()


@pytest.mark.parametrize(
    "begun",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost:",
        ASK + b"GET / HTT",
        # Answered without what it promised to send.
        b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n",
    ],
)
async def test_a_connection_on_which_nothing_happens_is_broken_off(
    begun: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "SILENT_S", 0.1)
    async with served() as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(begun)
        async with asyncio.timeout(10.0):
            with contextlib.suppress(ConnectionError):
                await reader.read()
        writer.close()


CHUNKED = b"POST / HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n"


async def test_a_body_that_breaks_off_its_form_after_the_answer_only_ends_the_connection() -> None:
    async with served() as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(CHUNKED)
        assert b"200" in await answer(reader)
        writer.write(b"no size\r\n")
        with contextlib.suppress(ConnectionError):
            assert b"400" not in await reader.read()
        writer.close()


async def test_a_body_that_breaks_off_its_form_before_the_answer_is_refused_and_told_to_the_reader() -> None:
    heard = asyncio.Queue[str]()

    async def reading(scope: Scope, receive: Receive, send: Send) -> None:
        while True:
            message = await receive()
            await heard.put(message["type"])
            if message["type"] == "http.disconnect":
                # As a page does that tells of what it met.
                await PlainTextResponse("nobody takes this")(scope, receive, send)
                return

    async with served(reading) as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(CHUNKED + b"1\r\nx\r\n")
        async with asyncio.timeout(10.0):
            assert await heard.get() == "http.request"
            writer.write(b"no size\r\n")
            text = await reader.read()
            assert (text.count(b"HTTP/1.1"), b"400" in text) == (1, True)
            assert await heard.get() == "http.disconnect"
        writer.close()


async def test_an_answer_that_takes_long_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "SILENT_S", 0.05)
    looked, looks = asyncio.Event(), 0
    look = Connection._look

    def counted(self: Connection, before: RequestResponseCycle | None) -> None:
        nonlocal looks
        looks += 1
        look(self, before)
        if looks > 3:
            looked.set()

    monkeypatch.setattr(Connection, "_look", counted)

    async def slow(scope: Scope, receive: Receive, send: Send) -> None:
        async with asyncio.timeout(10.0):
            await looked.wait()
        await PlainTextResponse("at last")(scope, receive, send)

    async with served(slow) as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(ASK)
        assert b"200" in await answer(reader)
        writer.close()


@pytest.mark.skipif(not hasattr(socket, "TCP_USER_TIMEOUT"), reason="Linux has this option")
def test_the_system_breaks_off_a_connection_whose_other_end_takes_nothing() -> None:
    # Three sockets that read nothing of a stream were open for a minute and a half without it, and 25 s with it.
    with listening("127.0.0.1", 0) as listener:
        assert listener.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == module.TAKE_NOTHING_MS


def test_a_taken_port_leaves_no_socket_open() -> None:
    with listening("127.0.0.1", 0) as listener, pytest.raises(OSError, match="in use"):
        listening("127.0.0.1", listener.getsockname()[1])
