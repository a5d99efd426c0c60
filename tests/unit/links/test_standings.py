import json
from typing import Any

import pytest

from emberline.links.standings import read_standing, standing_document
from emberline_wire import Standing
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
