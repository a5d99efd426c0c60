"""How much of a line a device's samples take."""

import numpy as np
import pytest

from emberline_wire import Channel, Hello, Kind, Samples, encode_frame
from emberline_wire.budget import FRAME_OVERHEAD_BYTES, SAMPLE_BYTES, check_line, line_load
from emberline_wire.errors import LineTooSlowError


def bench(rate_hz: int, frame_ms: int = 1000) -> Hello:
    return Hello(1, "b1", "1", (Channel(0, "mass", Kind.BRIDGE_COUNTS, 1_000_000 // rate_hz, 1.0),), 0, frame_ms, 8000)


@pytest.mark.parametrize("count", [1, 10, 60])
def test_no_frame_is_larger_than_reckoned(count: int) -> None:
    frame = Samples(
        2**32 - 1, 63, 2**32 - 300, 2**32 - 1, np.full(count, -(2**31), dtype=np.int32), 2**32 - 300,
        offsets=np.full(count, 65535, dtype=np.uint16),
    )  # fmt: skip
    assert len(encode_frame(frame.to_bytes())) <= FRAME_OVERHEAD_BYTES + SAMPLE_BYTES * count


def test_a_bench_fits_its_line() -> None:
    check_line(bench(10), 57_600)
    check_line(bench(80, 250), 57_600)
    assert line_load(bench(80), 57_600) > line_load(bench(10), 57_600) > 0.0


def test_a_line_with_no_room_for_sending_again_is_refused_with_what_would_help() -> None:
    with pytest.raises(LineTooSlowError, match=r"b1 fills \d+% of a line of 9600 baud.*faster line"):
        check_line(bench(80), 9_600)


def test_a_channel_slower_than_the_frames_has_a_frame_for_each_sample() -> None:
    slow = Hello(1, "b1", "1", (Channel(0, "p", Kind.PRESSURE, 5_000_000, 1.0),), 0, 250, 8000)
    assert line_load(slow, 10) == pytest.approx(40 + (FRAME_OVERHEAD_BYTES + SAMPLE_BYTES) / 5, rel=0.01)
