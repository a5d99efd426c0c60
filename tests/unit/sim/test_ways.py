"""The ways of a device to its host; those of frames and of a broker are tried by the command's own tests."""

import os
from pathlib import Path

import numpy as np

from emberline_sim.device.converters import bridge
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.sketch import SketchSpec
from emberline_sim.faults import Mischief
from emberline_sim.ports import PtyPort
from emberline_sim.ways import FramesWay, SketchWay


def test_a_sketch_begins_when_its_port_is_opened_and_is_done_when_it_is_closed(tmp_path: Path) -> None:
    way = SketchWay(PtyPort(tmp_path / "port"), SketchSpec())
    cell = bridge(0, "mass", 10.0, 400.0, 0)
    with way.open():
        assert not way.heard()
        host = os.open(tmp_path / "port", os.O_RDWR | os.O_NOCTTY)
        assert way.heard()
        sketch, step = way.start([cell], [cell.convert(np.arange(0.0, 1.0, 0.1), np.zeros(10))], Mischief([], seed=1))
        for now_s in np.arange(0.0, 2.0, 0.05):
            step(float(now_s))
        with open(host, "rb", closefd=False) as lines:
            assert [lines.readline() for _ in range(2)] == [b"millis,mass\r\n", b"400,0.0\r\n"]
        assert sketch.exhausted
        assert not way.done(sketch)
        os.close(host)
        assert way.done(sketch)


def test_frames_are_done_when_all_is_acknowledged(tmp_path: Path) -> None:
    way = FramesWay(PtyPort(tmp_path / "port"), DeviceSpec())
    cell = bridge(0, "mass", 10.0, 400.0, 0)
    with way.open():
        device, step = way.start([cell], [cell.convert(np.arange(0.0, 1.0, 0.1), np.zeros(10))], Mischief([], seed=1))
        step(2.0)
        assert device.exhausted
        assert not way.done(device)
