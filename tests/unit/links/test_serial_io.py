import asyncio
import contextlib
import fcntl
import os
import select
import termios
import threading
import time
import tty
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from emberline.links import serial_io
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.ports import PortBusyError, PortMissingError
from emberline.links.serial_io import MAX_HELD_BYTES, MAX_UNSENT_BYTES, SerialIO
from live_fixture import until

BAUD = 115_200


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    path = os.ttyname(slave)
    os.close(slave)
    yield master, path
    with contextlib.suppress(OSError):
        os.close(master)


@pytest.fixture
async def opened(line: tuple[int, str]) -> AsyncIterator[SerialIO]:
    link = await SerialIO.open(line[1], BAUD, time.time_ns)
    yield link
    await link.close()


def open_descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


async def received(link: SerialIO, size: int) -> bytes:
    data = b""
    async with asyncio.timeout(10.0):
        while len(data) < size:
            data += b"".join(piece for piece, _ in await link.received(0.5))
    return data


async def drained(link: SerialIO) -> None:
    while True:
        await link.received(0.5)


async def test_bytes_come_in_with_their_time_and_go_out(line: tuple[int, str], opened: SerialIO) -> None:
    before_ns = time.time_ns()
    os.write(line[0], b"abc")
    pieces: list[tuple[bytes, int]] = []
    async with asyncio.timeout(5.0):
        while sum(len(data) for data, _ in pieces) < 3:
            pieces += await opened.received(0.5)
    assert b"".join(data for data, _ in pieces) == b"abc"
    assert before_ns <= pieces[0][1] <= time.time_ns()
    opened.send(b"xyz")
    await until(lambda: bool(select.select([line[0]], [], [], 0)[0]), "the bytes")
    assert os.read(line[0], 10) == b"xyz"


async def test_nothing_is_returned_when_nothing_comes(opened: SerialIO) -> None:
    assert await opened.received(0.02) == []


async def test_a_second_opening_is_refused_and_says_who_holds_the_port(line: tuple[int, str], opened: SerialIO) -> None:
    with pytest.raises(PortBusyError, match=str(os.getpid())):
        await SerialIO.open(line[1], BAUD, time.time_ns)


async def test_a_port_that_is_not_there_is_missing(tmp_path: Path) -> None:
    path = str(tmp_path / "port")
    with pytest.raises(PortMissingError, match=f"^there is no port '{path}': is"):
        await SerialIO.open(path, BAUD, time.time_ns)


async def test_what_is_no_port_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no port")
    with pytest.raises(LinkError, match="cannot be opened"):
        await SerialIO.open(str(tmp_path / "file"), BAUD, time.time_ns)


async def test_an_unplugged_device_is_noticed_within_a_second(line: tuple[int, str], opened: SerialIO) -> None:
    os.write(line[0], b"half a fra")
    assert await received(opened, 10) == b"half a fra"
    os.close(line[0])
    began_s = time.monotonic()
    with pytest.raises(LinkLostError, match="gone"):
        await drained(opened)
    assert time.monotonic() - began_s < 1.0


async def test_a_full_buffer_stops_the_reading_and_loses_nothing(line: tuple[int, str], opened: SerialIO) -> None:
    sent = 0
    total = 3 * MAX_HELD_BYTES
    block = bytes(range(256)) * 4

    async def fill() -> None:
        nonlocal sent
        while sent < total:
            try:
                sent += os.write(line[0], block[sent % 1024 :][: total - sent])
            except BlockingIOError:
                return

    for _ in range(200):
        await fill()
        await asyncio.sleep(0.005)
    assert opened._held <= MAX_HELD_BYTES + 8192
    assert sent < total
    data = b""
    async with asyncio.timeout(20.0):
        while len(data) < total:
            await fill()
            data += b"".join(piece for piece, _ in await opened.received(0.05))
    assert data == (block * (total // 1024 + 1))[:total]


async def test_bytes_that_nobody_takes_do_not_pile_up(opened: SerialIO) -> None:
    for _ in range(100):
        opened.send(bytes(1000))
    assert len(opened._unsent) <= MAX_UNSENT_BYTES
    assert opened.dropped >= 100_000 - MAX_UNSENT_BYTES - 64 * 1024


async def test_closing_is_quick_with_unsent_bytes_on_the_line(line: tuple[int, str]) -> None:
    link = await SerialIO.open(line[1], BAUD, time.time_ns)
    for _ in range(40):
        link.send(bytes(4000))
        await asyncio.sleep(0.005)
    began_s = time.monotonic()
    assert await link.close(2.0)
    assert time.monotonic() - began_s < 2.0


async def test_the_modem_lines_stay_up_at_close(line: tuple[int, str]) -> None:
    link = await SerialIO.open(line[1], BAUD, time.time_ns)
    port = link._port
    assert port is not None
    assert not termios.tcgetattr(port.fileno())[2] & termios.HUPCL
    await link.close()


async def test_two_hundred_replugs_leave_no_descriptor_and_no_thread(tmp_path: Path) -> None:
    descriptors, threads = open_descriptors(), threading.active_count()
    for _ in range(200):
        master, slave = os.openpty()
        tty.setraw(slave)
        link = await SerialIO.open(os.ttyname(slave), BAUD, time.time_ns)
        os.close(slave)
        os.close(master)
        with pytest.raises(LinkLostError):
            await drained(link)
        assert await link.close()
    assert open_descriptors() == descriptors
    assert threading.active_count() == threads


async def test_a_driver_that_hangs_in_opening_does_not_hold_the_program(
    line: tuple[int, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    free = threading.Event()

    def hang(path: str, baud: int) -> None:
        free.wait(10.0)
        raise LinkError("too late")

    monkeypatch.setattr(serial_io, "opened_port", hang)
    with pytest.raises(LinkError, match="took longer"):
        await SerialIO.open(line[1], BAUD, time.time_ns, limit_s=0.05)
    free.set()


def test_the_lock_goes_with_the_port(line: tuple[int, str]) -> None:
    async def open_and_close() -> None:
        await (await SerialIO.open(line[1], BAUD, time.time_ns)).close()

    asyncio.run(open_and_close())
    descriptor = os.open(line[1], os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(descriptor)
