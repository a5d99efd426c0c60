"""One boot of a device: from frames to readings."""

import numpy as np

from emberline_wire import Channel, Gap, Kind, Loss, Readings, Samples, SessionCounters
from emberline_wire.boot import MAX_PENDING, Boot
from emberline_wire.clock import DeviceClock

MASS = Channel(3, "mass", Kind.BRIDGE_COUNTS, 100_000, 1.0)


def boot(committed: dict[int, int] | None = None) -> tuple[Boot, SessionCounters]:
    counters = SessionCounters()
    made = Boot("bench-a", 7, counters, committed, DeviceClock())
    made.set_table([MASS])
    return made, counters


def frame(first: int, ticks: int, stream: int = 3, oldest: int = 0) -> Samples:
    return Samples(7, stream, first, ticks, np.array([5, 6], dtype=np.int16), oldest, period_us=100_000)


def test_readings_wait_for_a_pong_but_not_without_bounds() -> None:
    made, _ = boot({})
    for i in range(MAX_PENDING):
        made.take(frame(2 * i, 200_000 * i), i)
        assert made.flush(wait=True) == []
    made.take(frame(2 * MAX_PENDING, 200_000 * MAX_PENDING), MAX_PENDING)
    assert len(made.flush(wait=True)) == MAX_PENDING + 1


def test_readings_say_where_they_come_from() -> None:
    made, _ = boot({})
    made.clock.pong(0, 0, 1_000_000)
    made.take(frame(0, 0), 5_000_000)
    (reading,) = made.flush(wait=True)
    assert isinstance(reading, Readings)
    assert (reading.device, reading.boot, reading.channel, reading.first_seq) == ("bench-a", 7, MASS, 0)
    assert reading.raw.dtype == np.float64
    assert reading.raw.tolist() == [5.0, 6.0]
    assert reading.faults.tolist() == [0, 0]
    assert reading.next_seq == 2


def test_a_stream_that_nobody_announced_is_counted() -> None:
    made, counters = boot({})
    made.take(frame(0, 0, stream=9), 0)
    assert counters.unknown_streams == 1
    assert made.flush(wait=False) == []


def test_times_of_a_stream_never_run_backwards_whatever_the_device_says() -> None:
    made, counters = boot({})
    made.clock.pong(0, 0, 1_000_000)
    made.take(frame(0, 5_000_000), 6_000_000_000)
    made.take(frame(2, 1_000_000), 6_100_000_000)
    first, second = made.flush(wait=True)
    assert isinstance(first, Readings)
    assert isinstance(second, Readings)
    assert second.t_ns[0] == first.t_ns[-1]
    assert counters.backwards == 1


def test_it_knows_what_it_wants_and_what_is_stored() -> None:
    made, _ = boot({3: 10})
    assert made.wanted() == {3: 10}
    assert made.stores(frame(8, 0))
    assert not made.stores(frame(9, 0))
    made.take(frame(14, 0), 0)
    assert made.missing() == {3: 10}


def test_the_end_gives_up_what_is_missing() -> None:
    made, _ = boot({})
    made.take(frame(4, 0), 0)
    gap, reading = made.finish(0)
    assert isinstance(gap, Gap)
    assert (gap.first, gap.last, gap.loss, gap.next_seq) == (0, 3, Loss.REBOOT, 4)
    assert isinstance(reading, Readings)
    assert made.ended() == {3: 6}


def test_first_contact_and_a_boot_seen_from_its_beginning_differ() -> None:
    for committed, loss in ((None, Loss.BEFORE_CONTACT), ({}, Loss.OVERRUN)):
        made, _ = boot(committed)
        made.take(frame(4, 0, oldest=4), 0)
        gap = made.flush(wait=False)[0]
        assert isinstance(gap, Gap)
        assert gap.loss is loss
