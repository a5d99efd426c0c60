"""One stream put in order."""

import numpy as np
import pytest

from emberline_wire import Loss, Samples
from emberline_wire.streams import MAX_HELD, Hole, StreamOrder


def frame(first: int, count: int = 5, oldest: int = 0, *, even: bool = True) -> Samples:
    """Samples whose values are their numbers and whose times are 1 ms and 32 us steps of them."""
    return Samples(
        boot=1,
        stream=0,
        first_seq=first,
        ticks=first * 3200,
        values=np.arange(first, first + count, dtype=np.int32),
        oldest_seq=oldest,
        period_us=3200 if even else None,
        offsets=None if even else (np.arange(count) * 100).astype(np.uint16),
        faults=np.arange(first, first + count).astype(np.uint8),
    )


def numbers(out: list[Samples | Hole]) -> list[int]:
    return [int(v) for part in out if isinstance(part, Samples) for v in part.values]


def test_in_order_all_passes_at_once() -> None:
    order = StreamOrder(0)
    assert numbers(order.take(frame(0)) + order.take(frame(5))) == list(range(10))
    assert order.wanted == 10
    assert not order.waiting


@pytest.mark.parametrize("even", [True, False])
def test_overlap_is_cut_with_its_times_and_faults(even: bool) -> None:
    order = StreamOrder(0)
    order.take(frame(0))
    (rest,) = order.take(frame(3, even=even))
    assert isinstance(rest, Samples)
    np.testing.assert_array_equal(rest.values, [5, 6, 7])
    np.testing.assert_array_equal(rest.faults, [5, 6, 7])
    np.testing.assert_array_equal(rest.ticks + rest.offsets_us(), np.array([5, 6, 7]) * 3200)
    assert order.duplicates == 2


def test_behind_a_hole_frames_wait_and_then_come_in_order() -> None:
    order = StreamOrder(0)
    assert order.take(frame(10)) == []
    assert order.take(frame(5)) == []
    assert order.waiting
    assert numbers(order.take(frame(0))) == list(range(15))


def test_holes_are_given_up_only_on_the_devices_word() -> None:
    order = StreamOrder(0)
    order.take(frame(10))
    out = order.take(frame(20, oldest=17))
    assert out[0] == Hole(0, 9, Loss.OVERRUN)
    assert numbers(out) == [10, 11, 12, 13, 14]
    assert out[-1] == Hole(15, 16, Loss.OVERRUN)
    assert order.wanted == 17
    assert numbers(order.take(frame(17, 3, oldest=17))) == [17, 18, 19, 20, 21, 22, 23, 24]


def test_the_end_of_a_boot_gives_up_all_holes() -> None:
    order = StreamOrder(0)
    order.take(frame(10))
    order.take(frame(20))
    out = order.finish()
    assert [part for part in out if isinstance(part, Hole)] == [Hole(0, 9, Loss.REBOOT), Hole(15, 19, Loss.REBOOT)]
    assert numbers(out) == [*range(10, 15), *range(20, 25)]
    assert order.finish() == []


def test_first_contact_is_told_from_an_overrun() -> None:
    assert StreamOrder(None).take(frame(9, oldest=7))[0] == Hole(0, 6, Loss.BEFORE_CONTACT)
    assert StreamOrder(0).take(frame(9, oldest=7))[0] == Hole(0, 6, Loss.OVERRUN)


def test_too_much_behind_a_hole_is_set_aside_and_counted() -> None:
    order = StreamOrder(0)
    for i in range(MAX_HELD + 3):
        order.take(frame(10 + 5 * i))
    assert order.set_aside == 15
    assert len(numbers(order.take(frame(0, 10)))) == 10 + 5 * MAX_HELD


def test_the_longer_of_two_frames_with_one_beginning_is_held() -> None:
    order = StreamOrder(0)
    order.take(frame(5, 2))
    order.take(frame(5, 6))
    order.take(frame(5, 3))
    assert numbers(order.take(frame(0))) == list(range(11))
    assert order.duplicates == 5
