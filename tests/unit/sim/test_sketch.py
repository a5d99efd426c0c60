"""A board that prints lines."""

import numpy as np
import pytest

from emberline_sim.device.converters import Block, Converter, bridge, cold_junction, thermocouple
from emberline_sim.device.sketch import QUEUE, Sketch, SketchSpec, Style
from emberline_sim.faults import Mischief
from emberline_sim.hookup import Hookup
from emberline_sim.ports import MemoryPort


def wired(length_s: float = 20.0) -> tuple[list[Converter], list[Block]]:
    probe, cell = thermocouple(0, "water", 4.0, 0.25), bridge(2, "mass", 10.0, 400.0, 1000)
    junction = cold_junction(1, probe.channel, 1.0)
    t_s = np.arange(0.05, length_s, 0.25)
    water = np.where(t_s > 10.0, np.nan, 20.0 + t_s)
    mass_s = np.arange(0.02, length_s, 0.1)
    blocks = [
        cell.convert(mass_s, 1000.0 - mass_s),
        probe.convert(t_s, water),
        junction.convert(np.arange(0.5, length_s, 1.0), np.full(int(length_s), 25.0)),
    ]
    return [probe, junction, cell], blocks


def printed(sketch: Sketch, until_s: float) -> list[str]:
    lines = []
    for now_s in np.arange(0.0, until_s, 0.1):
        sketch.advance(float(now_s))
        while line := sketch.next_frame():
            assert line.endswith(b"\r\n")
            lines.append(line.decode().strip())
    return lines


def test_columns_begin_with_milliseconds_and_carry_the_newest_values() -> None:
    lines = printed(Sketch(SketchSpec(), *wired()), 15.0)
    assert lines[0] == "millis,water,mass"
    rows = [line.split(",") for line in lines[1:]]
    assert [int(row[0]) for row in rows[:3]] == [400, 900, 1400]
    for at_ms, _, mass in rows:
        assert float(mass) == pytest.approx(1000.0 - int(at_ms) / 1000.0, abs=0.2)
    assert rows[5][1] == "22.75"
    assert rows[-1][1] == "nan"


def test_labels_have_no_time_and_no_header() -> None:
    lines = printed(Sketch(SketchSpec(Style.LABELS), *wired()), 2.0)
    assert lines[0] == "water=20.25 mass=999.7"


def test_its_counter_wraps_and_a_reset_sets_it_to_zero() -> None:
    sketch = Sketch(SketchSpec(millis_at_start=2**32 - 1000), *wired())
    times = [int(line.split(",")[0]) for line in printed(sketch, 3.0)[1:]]
    assert times[:4] == [2**32 - 600, 2**32 - 100, 400, 900]
    sketch.reboot(4.0)
    sketch.advance(4.5)
    assert sketch.next_frame() == b"millis,water,mass\r\n"
    assert sketch.next_frame().split(b",")[0] in (b"399", b"400")


def test_what_a_port_that_is_out_does_not_take_is_gone() -> None:
    port = MemoryPort()
    sketch = Sketch(SketchSpec(), *wired(50.0))
    hookup = Hookup(sketch, port, Mischief([], seed=1))
    for now_s in np.arange(0.0, 5.0, 0.05):
        hookup.step(float(now_s))
    heard = port.host_read().decode().splitlines()
    assert len(heard) - 1 == sketch.sent == sketch.printed
    sketch.advance(45.0)
    assert sketch.waiting == QUEUE
    assert sketch.printed > sketch.sent + QUEUE


def test_it_ends_with_its_readings_and_listens_to_nobody() -> None:
    sketch = Sketch(SketchSpec(), *wired(5.0))
    sketch.receive(b"stop", 1.0)
    printed(sketch, 12.0)
    sketch.finish()
    assert sketch.exhausted
    assert sketch.tally() == {"lines_printed": sketch.printed, "lines_sent": sketch.printed}
    assert 8 <= sketch.printed <= 11
