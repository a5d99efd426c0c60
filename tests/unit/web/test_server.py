import asyncio
import contextlib
import json
import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.health import HealthWatch
from emberline.service.intake import IngestCounts
from emberline.service.metrics import BenchFigures, Figures
from emberline.web import server as module
from emberline.web.server import Address, serve_pages
from live_fixture import until
from unit.store.made_up import NOON_NS


@pytest.fixture
def daemon() -> SimpleNamespace:
    clock = Clock(1.0, NOON_NS, 0.0, lambda: 1.0)
    watch = HealthWatch(clock)
    watch.over(Board("yard", clock, IngestCounts()))
    figures = {"yard": BenchFigures(0, 0, 0)}
    return SimpleNamespace(
        health=watch,
        lanes={},
        store=None,
        desk=None,
        figures=lambda version: Figures(watch.health(), version, figures, 0.0, 0.0, 0),
    )


async def nothing(_: str, __: str) -> bytes:
    return b""


@asynccontextmanager
async def served(daemon: SimpleNamespace, address: Address) -> AsyncIterator[None]:
    task = asyncio.create_task(serve_pages(daemon, address, "0.1.0", nothing))  # type: ignore[arg-type]
    try:
        yield
    finally:
        task.cancel()
        await asyncio.wait([task], timeout=5.0)
        assert task.cancelled()


async def fetched(url: str, path: str) -> tuple[int, str]:
    host, _, port = url.removeprefix("http://").removesuffix("/health").rpartition(":")
    reader, writer = await asyncio.open_connection(host.strip("[]"), int(port))
    writer.write(f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
    text = (await reader.read()).decode()
    writer.close()
    await writer.wait_closed()
    head, _, body = text.partition("\r\n\r\n")
    return int(head.split(" ")[1]), body


async def test_health_and_metrics_are_served_on_loopback(daemon: SimpleNamespace) -> None:
    async with served(daemon, Address(port=0)):
        await until(lambda: daemon.health.address is not None, "the server")
        url = daemon.health.address
        assert url.startswith("http://127.0.0.1:")
        status, body = await fetched(url, "/health")
        assert (status, json.loads(body)["address"]) == (503, url)
        status, body = await fetched(url, "/metrics")
        assert (status, "emberline_commits_total" in body) == (200, True)
        assert (await fetched(url, "/else"))[0] == 404
    assert daemon.health.address is None


async def test_a_port_that_is_taken_is_told_and_tried_again(
    daemon: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.02)
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        async with served(daemon, Address(port=port)):
            await until(lambda: bool(daemon.health.health().warnings), "the warning")
            assert "choose another with --http" in daemon.health.health().warnings[0]
            other.close()
            await until(lambda: daemon.health.address is not None, "the port")
            assert daemon.health.health().warnings == ()


async def test_a_viewer_who_takes_nothing_does_not_hold_up_the_end(daemon: SimpleNamespace) -> None:
    async with served(daemon, Address(port=0)):
        await until(lambda: daemon.health.address is not None, "the server")
        port = int(daemon.health.address.rpartition(":")[2].removesuffix("/health"))
        _, silent = await asyncio.open_connection("127.0.0.1", port)
        _, half = await asyncio.open_connection("127.0.0.1", port)
        half.write(b"GET /health HTTP/1.1\r\nHost:")
        await half.drain()
        await asyncio.sleep(0.05)
    for one in (silent, half):
        one.close()


async def test_with_a_certificate_pages_are_encrypted(daemon: SimpleNamespace, certificate: tuple[Path, Path]) -> None:
    async with served(daemon, Address("127.0.0.1", 0, *certificate)):
        await until(lambda: daemon.health.address is not None, "the server")
        assert daemon.health.address.startswith("https://127.0.0.1:")
        port = int(daemon.health.address.rpartition(":")[2].removesuffix("/health"))
        trusting = ssl.create_default_context(cafile=certificate[0])
        reader, writer = await asyncio.open_connection("127.0.0.1", port, ssl=trusting)
        writer.write(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
        assert (await reader.readline()).startswith(b"HTTP/1.1 503")
        await reader.read()
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


async def test_a_certificate_that_went_is_told_and_tried_again(
    daemon: SimpleNamespace, certificate: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.02)
    away = certificate[0].with_suffix(".away")
    certificate[0].rename(away)
    async with served(daemon, Address("127.0.0.1", 0, *certificate)):
        await until(lambda: bool(daemon.health.health().warnings), "the warning")
        away.rename(certificate[0])
        await until(lambda: daemon.health.address is not None, "the server")
