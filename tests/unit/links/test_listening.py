"""Listening to boards on pseudo-terminals: whose speech is found out, and whose is not."""

import itertools
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from emberline.curves.checkup.signal import Fault, Nature
from emberline.links import listening
from emberline.links.errors import LinkLostError
from emberline.links.listening import Listener, NotUnderstoodError, SilentError
from emberline.links.ports import PortBusyError
from emberline_sim.device.converters import bridge, cold_junction, thermocouple
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.faults import Mischief
from emberline_sim.hookup import Hookup
from emberline_sim.ports import PtyPort


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "SILENT_S", 0.3)
    monkeypatch.setattr(listening, "GARBAGE_S", 0.1)
    monkeypatch.setattr(listening, "READ_LIMIT_S", 0.02)


@contextmanager
def board(port: PtyPort, step: Callable[[float], None]) -> Iterator[None]:
    """Move a board on in a thread, by real time."""
    done = threading.Event()
    port.plug()

    def run() -> None:
        began_s = time.monotonic()
        while not done.wait(0.01):
            step(time.monotonic() - began_s)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()
        port.unplug()


def printing(port: PtyPort, made: Callable[[int], bytes], every_s: float = 0.05) -> Callable[[float], None]:
    """Return what prints a line every so often while somebody listens."""
    printed = 0

    def step(now_s: float) -> None:
        nonlocal printed
        if port.opened and now_s >= every_s * printed:
            port.write(made(printed))
            printed += 1

    return step


def test_lines_are_understood_with_their_header_and_nothing_is_sent(tmp_path: Path) -> None:
    port, sent = PtyPort(tmp_path / "port"), bytearray()
    step = printing(port, lambda n: b"ms,water,mass\r\n" if n == 0 else b"%d,20.5,%d.5\r\n" % (50 * n, 900 - n))

    def both(now_s: float) -> None:
        step(now_s)
        sent.extend(port.read())

    with board(port, both), Listener(str(tmp_path / "port")) as listener:
        listener.find_speech()
        while (heard := listener.lines()) is not None and len(heard.lines) < 5:
            listener.hear(0.1)
    assert heard is not None
    assert heard.header == ("ms", "water", "mass")
    assert heard.lines[-1][0].numbers["2"] == 20.5
    assert not sent
    assert listener.hello is None


def frames(port: PtyPort) -> Callable[[float], None]:
    probe, cell = thermocouple(0, "tc", 4.0, 0.25), bridge(2, "scale", 10.0, 400.0, 1000)
    t_s = np.arange(0.05, 60.0, 0.25)
    blocks = [
        cell.convert(np.arange(0.02, 60.0, 0.1), np.full(600, 700.0)),
        probe.convert(t_s, np.where(t_s % 2.0 < 1.0, 21.0, np.nan)),
        cold_junction(1, probe.channel, 1.0).convert(np.arange(0.1, 60.0, 0.5), np.full(120, 25.0)),
    ]
    converters = [probe, cold_junction(1, probe.channel, 1.0), cell]
    device = Microcontroller(DeviceSpec(device="yard", frame_period_s=0.2), converters, blocks, itertools.count(1))
    return Hookup(device, port, Mischief([], seed=1)).step


def test_frames_are_understood_with_their_channels_and_fault_bits(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "port")
    with board(port, frames(port)), Listener(str(tmp_path / "port")) as listener:
        listener.find_speech()
        assert listener.lines() is None
        while len((signals := listener.signals())["tc"].t_s) < 9:
            listener.hear(0.2)
        listener.forget()
        assert len(listener.signals()["tc"].t_s) == 0
    assert listener.hello is not None
    assert listener.hello.device == "yard"
    assert signals.keys() == {"tc", "scale"}
    tc, scale = signals["tc"], signals["scale"]
    assert (tc.nature, scale.nature) == (Nature.THERMOCOUPLE, Nature.BRIDGE)
    assert tc.cold_c == 25.0
    assert tc.faults[Fault.OPEN] > 0
    assert len(tc.good) + tc.faults[Fault.OPEN] == len(tc.t_s)
    assert np.nanmedian(scale.value) == pytest.approx(700.0, abs=0.01)


def test_a_wrong_speed_is_told_and_another_one_tried(tmp_path: Path) -> None:
    """A pseudo-terminal has no speed: the board makes garbage until it is heard at its own."""
    port = PtyPort(tmp_path / "port")
    tried: list[str] = []
    made = {True: lambda n: b"\xf8\x9c\xe0\xff" * 8, False: lambda n: b"20.5 %d\n" % (900 - n)}
    step = printing(port, lambda n: made[len(tried) < 2](n))
    with board(port, step), Listener(str(tmp_path / "port")) as listener:
        listener.find_speech((115_200, 9_600), tried.append)
    assert listener.tried == [115_200]
    assert listener.baud == 9_600
    assert tried == ["listening at 115,200 baud", "listening at 9,600 baud"]


def test_what_makes_no_sense_at_any_speed_is_told(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "port")
    dice = np.random.default_rng(3)
    step = printing(port, lambda n: dice.bytes(40))
    with (
        board(port, step),
        Listener(str(tmp_path / "port")) as listener,
        pytest.raises(NotUnderstoodError, match=r"115,200, 9,600 baud.*--baud"),
    ):
        listener.find_speech((115_200, 9_600))


def test_silence_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "ANSWER_S", 0.3)
    port = PtyPort(tmp_path / "port")
    with (
        board(port, lambda _: None),
        Listener(str(tmp_path / "port")) as listener,
        pytest.raises(SilentError, match="have power"),
    ):
        listener.find_speech()


def test_a_board_that_is_unplugged_meanwhile_is_told(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "port")
    port.plug()
    with Listener(str(tmp_path / "port")) as listener:
        port.unplug()
        with pytest.raises(LinkLostError, match="gone"):
            listener.hear(5.0)


def test_a_port_that_is_in_use_is_told_with_its_holder(tmp_path: Path) -> None:
    port = PtyPort(tmp_path / "port")
    port.plug()
    with Listener(str(tmp_path / "port")), pytest.raises(PortBusyError, match=str(os.getpid())):
        Listener(str(tmp_path / "port"))
    port.unplug()
