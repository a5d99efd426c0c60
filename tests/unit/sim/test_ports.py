"""Pseudo-terminals and lines in memory, and a device hooked up to them."""

import errno
import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import serial

from emberline_sim.device.converters import bridge
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.errors import PortError
from emberline_sim.faults import Mischief, parse_fault
from emberline_sim.hookup import Hookup
from emberline_sim.ports import MemoryPort, PtyPort, plugged_in
from emberline_wire import FrameDecoder, Hello, Identify, Samples, decode_message, encode_frame


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_a_pty_carries_every_byte_both_ways(tmp_path: Path) -> None:
    every = bytes(range(256))
    port = PtyPort(tmp_path / "bench")
    with plugged_in(port), serial.Serial(str(port.link), timeout=2.0, exclusive=True) as host:
        assert port.write(every) == 256
        assert host.read(256) == every
        host.write(every)
        got = b""
        deadline = time.monotonic() + 5.0
        while len(got) < 256 and time.monotonic() < deadline:
            port.wait(0.01)
            got += port.read()
        assert got == every
    assert not port.link.is_symlink()


def test_after_a_pull_of_the_plug_it_comes_again_under_the_same_link(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "bench")
    before = open_files()
    for _ in range(50):
        port.plug()
        port.plug()
        with serial.Serial(str(port.link), timeout=2.0) as host:
            port.unplug()
            port.unplug()
            assert not port.link.is_symlink()
            assert (port.read(), port.write(b"x")) == (b"", 0)
            with pytest.raises(serial.SerialException):
                host.read(1)
    assert open_files() == before


def test_a_full_line_takes_what_it_can(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "bench")
    with plugged_in(port):
        taken = sum(port.write(bytes(1000)) for _ in range(200))
        assert 0 < taken < 200_000
        assert port.write(b"x" * 5000) < 5000


def test_nobody_there_is_no_error(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "bench")
    with plugged_in(port):
        with serial.Serial(str(port.link)):
            pass
        assert port.read() == b""
        port.wait(0.001)


def test_a_path_that_is_taken_is_refused(tmp_path: Path) -> None:
    taken = tmp_path / "notes.txt"
    taken.write_text("mine")
    with pytest.raises(PortError, match=r"notes\.txt"):
        PtyPort(taken).plug()
    assert taken.read_text() == "mine"
    with pytest.raises(PortError):
        PtyPort(tmp_path / "no folder" / "bench").plug()


def none_to_spare() -> tuple[int, int]:
    raise OSError(errno.ENOSPC, "out of pty devices")


def test_a_system_without_pseudo_terminals_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = open_files()
    with monkeypatch.context() as patch:
        patch.delattr(os, "openpty")
        with pytest.raises(PortError, match="no pseudo-terminals: write files"):
            PtyPort(tmp_path / "bench").plug()
    with monkeypatch.context() as patch:
        patch.setitem(sys.modules, "tty", None)
        with pytest.raises(PortError, match="no pseudo-terminals: write files"):
            PtyPort(tmp_path / "bench").plug()
    with monkeypatch.context() as patch:
        patch.setattr(os, "openpty", none_to_spare)
        with pytest.raises(PortError, match="out of pty devices"):
            PtyPort(tmp_path / "bench").plug()
    with monkeypatch.context() as patch:
        patch.setattr("tty.setraw", lambda _: none_to_spare())
        with pytest.raises(PortError, match="cannot be set up"):
            PtyPort(tmp_path / "bench").plug()
    assert open_files() == before


def test_a_stale_link_is_replaced(tmp_path: Path) -> None:
    link = tmp_path / "bench"
    link.symlink_to("/dev/null-and-void")
    with plugged_in(PtyPort(link)):
        assert link.exists()


def test_memory_has_bounds_and_forgets_when_unplugged() -> None:
    port = MemoryPort(room=10)
    assert port.write(b"lost") == 0
    with plugged_in(port):
        assert port.write(b"123456") == 6
        assert port.write(b"123456") == 4
        assert port.host_read() == b"1234561234"
        port.host_write(b"up")
        assert port.read() == b"up"
        port.write(b"gone")
    port.plug()
    assert port.host_read() == b""


def hookup(*faults: str, baud: int = 115_200, room: int = 4096) -> tuple[Hookup, MemoryPort]:
    mass, port = bridge(0, "mass", 10.0, 419.0, 0), MemoryPort(room)
    t_s = np.arange(0.05, 60.0, 0.1)
    dev = Microcontroller(DeviceSpec(), [mass], [mass.convert(t_s, t_s)], [1, 2, 3])
    return Hookup(dev, port, Mischief(map(parse_fault, faults), seed=1), baud=baud), port


def heard(port: MemoryPort, decoder: FrameDecoder) -> list[object]:
    return [decode_message(body) for body in decoder.feed(port.host_read())]


def test_a_hookup_carries_frames_and_commands() -> None:
    line, port = hookup()
    decoder = FrameDecoder()
    line.step(0.0)
    line.step(0.1)
    hello, _status = heard(port, decoder)
    assert isinstance(hello, Hello)
    port.host_write(encode_frame(Identify().to_bytes()))
    line.step(0.2)
    assert heard(port, decoder) == [replace(hello, ticks=200_000)]


def test_a_slow_line_takes_its_time() -> None:
    line, port = hookup(baud=1200)
    for step in range(21):
        line.step(step * 0.05)
    assert 60 < len(port.host_read()) < 1.0 * 120 + 512


def test_a_full_line_loses_nothing_but_time() -> None:
    line, port = hookup(room=50)
    decoder, numbers = FrameDecoder(), []
    for step in range(1, 400):
        line.step(step * 0.05)
        if step > 100:
            numbers += [
                n for m in heard(port, decoder) if isinstance(m, Samples) for n in range(m.first_seq, m.next_seq)
            ]
    assert decoder.counters.discarded == 0
    assert numbers == list(range(len(numbers)))
    assert len(numbers) >= 190


def test_faults_happen_at_their_times() -> None:
    line, port = hookup("unplug@2:1", "reboot@5", "junk@4:30")
    decoder = FrameDecoder()
    boots, dark = set(), []
    for step in range(1, 200):
        line.step(step * 0.05)
        if not port.plugged:
            dark.append(step * 0.05)
        boots |= {message.boot for message in heard(port, decoder) if isinstance(message, Hello)}
    assert (min(dark), max(dark)) == pytest.approx((2.0, 2.95))
    assert boots == {1, 2}
    assert decoder.counters.bytes_discarded >= 20
