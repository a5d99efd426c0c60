"""The numbers of the protocol as the C codec has them are those of the Python codec, which the document is held to."""

import re

import pytest

from emberline_wire import DeviceFlag, Fault, Kind, limits
from emberline_wire.budget import FRAME_OVERHEAD_BYTES
from emberline_wire.decoding import FROM_DEVICE, FROM_HOST
from wire_c_fixture import SOURCES

LIMITS = (SOURCES / "ew_limits.h").read_text()
MESSAGES = (SOURCES / "ew_messages.h").read_text()


def test_every_bound() -> None:
    stated = {name: int(value) for name, value in re.findall(r"#define EW_(\w+) (\d+)u?l?$", LIMITS, re.M)}
    assert stated.pop("SAMPLES_OVERHEAD_BYTES") == FRAME_OVERHEAD_BYTES
    assert stated == {name: getattr(limits, name) for name in stated}
    assert len(stated) >= 17


@pytest.mark.parametrize(("prefix", "codes"), [("EW_FAULT_", Fault), ("EW_FLAG_", DeviceFlag)], ids=["faults", "flags"])
def test_every_bit(prefix: str, codes: type[Fault] | type[DeviceFlag]) -> None:
    stated = {name: int(value) for name, value in re.findall(rf"#define {prefix}(\w+) (\d+)u$", MESSAGES, re.M)}
    assert stated == {code.name: code.value for code in codes}


def test_every_kind_and_type() -> None:
    stated = {name: int(value) for name, value in re.findall(r"EW_(\w+) = (\d+)", MESSAGES)}
    types = {**FROM_DEVICE, **FROM_HOST}.items()
    named = {re.sub(r"(?<!^)(?=[A-Z])", "_", kind.__name__).upper(): number for number, kind in types}
    assert stated == named | {kind.name: kind.value for kind in Kind}
