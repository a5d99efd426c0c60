import json
from typing import Any

import pytest

from emberline.links.standings import read_hello, read_standing, standing_document
from emberline_wire import Channel, Hello, Identify, Kind, Standing
from emberline_wire.clock import DeviceClock


def test_a_standing_survives_json() -> None:
    clock = DeviceClock()
    clock.pong(5_000, 1_000_000_000, 1_002_000_000)
    standing = Standing("dev", 7, {0: 120, 3: 8}, clock.state())
    again = read_standing(json.loads(json.dumps(standing_document(standing))))
    assert again is not None
    assert (again.device, again.boot, again.wanted) == ("dev", 7, {0: 120, 3: 8})
    assert DeviceClock.from_state(again.clock).synchronised


@pytest.mark.parametrize(
    "damaged", [None, {}, {"device": "d", "boot": 1, "wanted": 3, "clock": {}}, {"device": "d", "boot": "x"}]
)
def test_what_cannot_be_read_counts_as_nothing(damaged: dict[str, Any] | None) -> None:
    assert read_standing(damaged) is None


@pytest.mark.parametrize("number", ["1e400", "-Infinity", "NaN"])
def test_a_number_without_end_counts_as_nothing_too(number: str) -> None:
    """Found by fuzzing: such a number stopped the start."""
    document = json.loads(f'{{"device": "d", "boot": 1, "wanted": {{"0": {number}}}, "clock": {{}}}}')
    assert read_standing(document) is None


def test_the_hello_of_the_same_boot_is_kept_with_a_standing() -> None:
    hello = Hello(7, "dev", "1.0", (Channel(0, "mass", Kind.BRIDGE_COUNTS, 100_000, 0.002),), 0, 1_000, 8_000)
    document = standing_document(Standing("dev", 7, {0: 1}, {}), hello)
    assert read_hello(json.loads(json.dumps(document))) == hello
    assert "hello" not in standing_document(Standing("dev", 8, {0: 1}, {}), hello)


@pytest.mark.parametrize("kept", [None, 5, "zz", "", Identify().to_bytes().hex()])
def test_what_is_no_hello_counts_as_none(kept: object) -> None:
    assert read_hello({"hello": kept}) is None
    assert read_hello(None) is None
