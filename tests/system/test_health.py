"""What a running daemon says of itself while its disk, its clock, its store and its cable fail, and that it goes on."""

import asyncio
import contextlib
import json
import os
import signal
import socket
import sqlite3
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from conversation_fixture import said_by
from daemon_fixture import EMBERLINE, samples_stored
from disk_fixture import disk_of
from emberline.app import STORE_NAME
from emberline.service.control_client import ask
from emberline.service.errors import NoDaemonError, RequestError
from emberline.store.notices import NoticeKind
from emberline.store.reader import StoreReader
from live_fixture import SimulatedBench, simulated_bench

# Some twenty seconds each where nobody else wants the machine.
pytestmark = pytest.mark.timeout(240)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    with disk_of(6, tmp_path / "disk") as place:
        yield place


@asynccontextmanager
async def daemon_on(
    bench: SimulatedBench, data: Path, log: Path, *options: str, **environment: str
) -> AsyncIterator[asyncio.subprocess.Process]:
    words = ["run", "--data", str(data), "--port", str(bench.port), "--log", str(log), *options]
    process = await asyncio.create_subprocess_exec(EMBERLINE, *words, env={**os.environ, **environment})
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGTERM)
        async with asyncio.timeout(60.0):
            await process.wait()


async def health(data: Path) -> dict[str, Any]:
    """Return the health document; an empty one while no daemon answers."""
    try:
        found: dict[str, Any] = (await asyncio.to_thread(ask, data, {"do": "health"}))["health"]
    except (NoDaemonError, RequestError):
        return {"recording": "", "why": "", "warnings": [], "notices": [], "samples": {"stored": 0}, "address": None}
    return found


async def becomes(
    data: Path, condition: Callable[[dict[str, Any]], bool], what: str, limit_s: float = 120.0
) -> dict[str, Any]:
    """Ask for the health until it meets a condition."""
    document: dict[str, Any] = {}
    try:
        async with asyncio.timeout(limit_s):
            while not condition(document := await health(data)):  # noqa: ASYNC110 it is in another process
                await asyncio.sleep(0.1)
    except TimeoutError:
        pytest.fail(f"waited in vain for {what}: {document}")
    return document


def records(document: dict[str, Any]) -> bool:
    return document["recording"] in ("recording", "recording with gaps")


async def mounted(*words: str | Path) -> None:
    process = await asyncio.create_subprocess_exec("mount", *words)
    assert await process.wait() == 0


async def unmounted(place: Path) -> None:
    process = await asyncio.create_subprocess_exec("umount", "-l", place)
    await process.wait()


def a_bench(folder: Path) -> contextlib.AbstractAsyncContextManager[SimulatedBench]:
    return simulated_bench(folder / "bench", duration_s=200.0, speed=1.0)


def conserved(data: Path) -> None:
    """Every stream is stored or flagged lost from its first known sample to its newest, without a hole."""
    store = StoreReader(data / STORE_NAME)
    with sqlite3.connect(f"file:{store.path}?mode=ro", uri=True) as connection:
        streams = connection.execute("SELECT DISTINCT device, boot, channel FROM spans").fetchall()
    connection.close()
    assert len(streams) >= 3
    for stream in streams:
        assert store.missing(*stream) == []


def fill(place: Path) -> Path:
    """Leave no room on a disk."""
    ballast = place / "ballast"
    with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"\0" * 4096)
    return ballast


async def test_a_full_disk_is_told_and_once_it_is_freed_recording_resumes_by_itself(
    tmp_path: Path, small_disk: Path
) -> None:
    data = small_disk / "data"
    async with a_bench(tmp_path) as bench, daemon_on(bench, data, tmp_path / "log", "--no-http"):
        await becomes(data, records, "the first recording")
        ballast = fill(small_disk)
        told = await becomes(data, lambda now: "disk is full" in now["why"], "the full disk")
        assert told["recording"] == "not recording"
        before = samples_stored(told)
        ballast.unlink()
        now = await becomes(data, lambda now: records(now) and samples_stored(now) > before, "the recording")
        assert now["why"] == "" or "lost" in now["why"]
    conserved(data)


async def test_a_store_locked_by_another_program_is_told_and_recording_resumes_by_itself(tmp_path: Path) -> None:
    data = tmp_path / "data"
    async with a_bench(tmp_path) as bench, daemon_on(bench, data, tmp_path / "log", "--no-http"):
        await becomes(data, records, "the first recording")
        with sqlite3.connect(data / STORE_NAME, isolation_level=None) as other:
            other.execute("BEGIN IMMEDIATE")
            told = await becomes(data, lambda now: "locked by another program" in now["why"], "the outage")
            before = samples_stored(told)
            other.execute("ROLLBACK")
        other.close()
        await becomes(data, lambda now: records(now) and samples_stored(now) > before, "the recording")
    conserved(data)


async def test_a_disk_that_is_unplugged_is_told_and_once_it_is_back_recording_resumes_on_it(
    tmp_path: Path, small_disk: Path
) -> None:
    place, data = tmp_path / "plugged", tmp_path / "plugged" / "data"
    place.mkdir()
    await mounted("--bind", small_disk, place)
    try:
        async with a_bench(tmp_path) as bench, daemon_on(bench, data, tmp_path / "log", "--no-http"):
            await becomes(data, records, "the first recording")
            await unmounted(place)
            # The daemon's socket is on that disk too.
            await becomes(small_disk / "data", lambda now: "is its disk connected" in now["why"], "the outage")
            assert not data.exists(), "a new store elsewhere would hide the loss"
            await mounted("--bind", small_disk, place)
            await becomes(data, records, "the recording")
        conserved(data)
    finally:
        await unmounted(place)


async def test_a_store_that_is_damaged_while_it_records_is_set_aside_and_recording_goes_on(tmp_path: Path) -> None:
    data = tmp_path / "data"
    async with a_bench(tmp_path) as bench, daemon_on(bench, data, tmp_path / "log", "--no-http") as daemon:
        await becomes(data, lambda now: records(now) and samples_stored(now) > 100, "some readings")
        with (data / STORE_NAME).open("rb+") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(0)
            file.write(b"\xff" * size)
        now = await becomes(
            data, lambda now: bool(now["notices"]) and records(now) and samples_stored(now) > 100, "a new store"
        )
        assert daemon.returncode is None
        assert now["notices"][0]["kind"] == NoticeKind.SET_ASIDE.value
    (aside,) = [one for one in data.glob("*.damaged-*") if not one.name.endswith(("-wal", "-shm"))]
    assert aside.name in now["notices"][0]["text"]
    assert "was damaged and is now" in (tmp_path / "log").read_text()
    conserved(data)


async def test_the_service_manager_sees_the_start_the_life_and_the_end(tmp_path: Path) -> None:
    data = tmp_path / "data"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.setblocking(False)
        environment = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "30000000"}
        loop = asyncio.get_running_loop()
        said: list[str] = []
        async with (
            a_bench(tmp_path) as bench,
            daemon_on(bench, data, tmp_path / "log", "--no-http", **environment) as daemon,
        ):
            async with asyncio.timeout(120.0):
                while not any("STATUS=recording since" in words for words in said):
                    said.append((await loop.sock_recv(manager, 4096)).decode())
            daemon.send_signal(signal.SIGTERM)
            async with asyncio.timeout(60.0):
                while said[-1] != "STOPPING=1":
                    said.append((await loop.sock_recv(manager, 4096)).decode())
                assert await daemon.wait() == 0
    assert said[0] == "READY=1"
    assert "WATCHDOG=1" in said


async def test_status_and_health_page_of_a_running_bench(tmp_path: Path) -> None:
    data = tmp_path / "data"
    async with a_bench(tmp_path) as bench, daemon_on(bench, data, tmp_path / "log", "--http", "127.0.0.1:0"):
        now = await becomes(data, lambda now: records(now) and bool(now["address"]), "the recording")
        code, out, _ = await said_by("status", "--data", str(data))
        assert code == 0
        assert out.startswith("Recording ")
        code, out, _ = await said_by("status", "--json", "--data", str(data))
        assert (code, json.loads(out)["schema"]) == (0, "emberline.health/2")
        reader, writer = await asyncio.open_connection("127.0.0.1", int(now["address"].split(":")[2].split("/")[0]))
        writer.write(b"GET /health HTTP/1.0\r\n\r\n")
        assert (await reader.read()).startswith(b"HTTP/1.1 200")
        writer.close()
        await writer.wait_closed()


async def test_a_backup_made_while_recording_is_whole(tmp_path: Path) -> None:
    data, copy = tmp_path / "data", tmp_path / "copy.sqlite3"
    async with a_bench(tmp_path) as bench, daemon_on(bench, data, tmp_path / "log", "--no-http"):
        before = await becomes(data, lambda now: records(now) and samples_stored(now) > 20, "some readings")
        code, out, _ = await said_by("backup", str(copy), "--data", str(data))
        assert (code, "checked" in out) == (0, True)
    code, out, _ = await said_by("check", str(copy))
    assert (code, "is in order" in out) == (0, True)
    assert int(out.rpartition(" ")[2].replace(",", "")) >= samples_stored(before)
    code, out, _ = await said_by("status", "--data", str(data))
    assert code == 6
    assert "newest stored reading" in out


async def test_a_bench_whose_device_is_away_is_not_recording_and_says_so(tmp_path: Path) -> None:
    data = tmp_path / "data"
    bench = SimulatedBench(tmp_path / "nowhere", None)  # type: ignore[arg-type]
    async with daemon_on(bench, data, tmp_path / "log", "--no-http"):
        await becomes(data, lambda now: "plugged in" in now["why"], "the cause")
        code, out, _ = await said_by("status", "--data", str(data))
    assert code == 7
    assert out.startswith("Not recording since")
