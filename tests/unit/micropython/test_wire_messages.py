"""The numbers of the protocol as the ESP32 has them are those of the Python codec, which the document is held to."""

import re

from emberline_wire import Fault, Kind, limits
from micropython_fixture import SOURCES

TEXT = (SOURCES / "wire_messages.py").read_text()


def numbers(names: str) -> list[int]:
    """Return the numbers of a line that gives several names their values."""
    (values,) = re.findall(rf"^{names} = (.+)$", TEXT, re.M)
    return [int(one) for one in values.split(", ")]


def test_every_bound() -> None:
    stated = {name: int(value) for name, value in re.findall(r"^(M\w+|OFFSET_UNIT_US) = ([\d_]+)$", TEXT, re.M)}
    assert stated == {name: getattr(limits, name) for name in stated}
    assert len(stated) >= 4
    assert numbers("MAX_CHANNELS, MAX_STREAM_ID") == [limits.MAX_CHANNELS, limits.MAX_STREAM_ID]
    assert numbers("MIN_PERIOD_US, MAX_PERIOD_US") == [limits.MIN_PERIOD_US, limits.MAX_PERIOD_US]


def test_every_kind_and_fault_bit() -> None:
    kinds = "BRIDGE_COUNTS, LINEARISED, FLAT, COLD_JUNCTION, TEMPERATURE, PRESSURE, CARBON_MONOXIDE"
    assert numbers(kinds) == [kind.value for kind in Kind]
    faults = "OPEN, SHORT_LOW, SHORT_HIGH, SATURATED, NO_ANSWER, COLD_JUNCTION_RANGE"
    assert numbers(faults) == [fault.value for fault in Fault]
