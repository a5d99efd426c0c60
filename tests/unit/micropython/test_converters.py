"""The ESP32's drivers and its clock on MicroPython, over converters that are made up bit by bit."""

import pytest

from micropython_fixture import MicroPython

OPEN, SHORT_LOW, SHORT_HIGH, SATURATED, NO_ANSWER = 1, 2, 4, 8, 16


def test_a_bridge_is_read_when_it_is_ready_and_told_of_when_it_is_silent(micropython: MicroPython) -> None:
    codes = [0, 1, -1, 84213, -8388607, 8388607, -8388608]
    (polls,) = micropython.run("converters.py", data=["bridge", codes])
    not_ready, *read = polls[:-3]
    assert not_ready == []
    assert read == [[["mass", code, SATURATED if code in (8388607, -8388608) else 0]] for code in codes]
    assert polls[-3:] == [[], [["mass", 0, NO_ANSWER]], []]


def test_a_data_line_that_touches_ground_is_no_conversion(micropython: MicroPython) -> None:
    (polls,) = micropython.run("converters.py", data=["grounded", [2_000, 999_999, 1_000_001, 1_002_000]])
    assert polls == [[], [], [["mass", 0, NO_ANSWER]], []]


@pytest.mark.parametrize(
    ("word", "probe", "junction", "faults"),
    [
        # From the tables of the converter's data sheet (MAX31855, "Memory map", from memory): quarters and sixteenths.
        (0x06400000 | 0x1900, 400, 400, 0),  # +100 °C, +25 °C
        (0xFFFC0000 | 0xFFF0, -1, -1, 0),  # -0.25 °C, -0.0625 °C
        (0xF0600000 | 0xC900, -1000, -880, 0),  # -250 °C, -55 °C
        (0x64000000 | 0x7F00, 6400, 2032, 0),  # +1600 °C, +127 °C
        (0x00010001 | 0x1900, 0, 400, OPEN),
        (0x00010002 | 0x1900, 0, 400, SHORT_LOW),
        (0x00010004 | 0x1900, 0, 400, SHORT_HIGH),
    ],
)
def test_a_thermocouple_converter_is_read(
    micropython: MicroPython, word: int, probe: int, junction: int, faults: int
) -> None:
    (polls,) = micropython.run("converters.py", data=["probe", [word]])
    assert polls == [[["water", probe, faults], ["water_cj", junction, 0]], []]


@pytest.mark.parametrize("word", [0, 0xFFFFFFFF, 0x06421900, 0x06401908])
def test_a_line_that_no_converter_drives_is_no_reading(micropython: MicroPython, word: int) -> None:
    (polls,) = micropython.run("converters.py", data=["probe", [word]])
    assert polls == [[["water", 0, NO_ANSWER], ["water_cj", 0, NO_ANSWER]], []]


def test_a_clock_counts_on_where_the_counter_wraps(micropython: MicroPython) -> None:
    period = 1 << 30
    counts = [period - 5, period - 1, 3, period // 2 - 10, period - 30, 1]
    (read,) = micropython.run("converters.py", data=["clock", counts, period])
    assert read == [4, 8, period // 2 - 5, period - 25, period + 6]
