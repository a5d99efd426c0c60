"""Bounds of messages when they are built, and reading one kind where another came."""

from collections.abc import Callable

import numpy as np
import pytest

from emberline_wire import Ack, Channel, Hello, Identify, Kind, Message, Ping, Pong, Samples, SetRate, Start, Status
from emberline_wire.errors import NotAMessageError, WrongFieldError

MASS = Channel(0, "mass", Kind.BRIDGE_COUNTS, 100_000, 1.0)
ONE = np.zeros(1, dtype=np.int32)


@pytest.mark.parametrize(
    "build",
    [
        lambda: Ping(-1),
        lambda: Ping(2**64),
        lambda: Identify(0),
        lambda: Start(2**32),
        lambda: SetRate(1, 64, 1000),
        lambda: SetRate(1, 0, 999),
        lambda: Ack(1, {}),
        lambda: Ack(1, {0: -1}),
        lambda: Channel(0, "", Kind.PRESSURE, 1000, 1.0),
        lambda: Channel(0, "p", Kind.PRESSURE, 1000, 0.0),
        lambda: Channel(0, "p", Kind.PRESSURE, 1000, float("inf")),
        lambda: Channel(0, "p", Kind.PRESSURE, 1000, 1.0, serves=64),
        lambda: Hello(1, "d", "1", (), 0, 1000, 0),
        lambda: Hello(1, "d", "1", (MASS, MASS), 0, 1000, 0),
        lambda: Hello(1, "d" * 33, "1", (MASS,), 0, 1000, 0),
        lambda: Hello(1, "d", "1", (MASS,), 0, 0, 0),
        lambda: Samples(1, 0, 5, 0, ONE, 6, period_us=1000),
        lambda: Samples(1, 0, 5, 0, ONE, 5),
        lambda: Samples(1, 0, 5, 0, ONE, 5, period_us=1000, faults=np.zeros(2, dtype=np.uint8)),
        lambda: Samples(1, 0, 5, 0, np.zeros(251, dtype=np.int8), 5, period_us=1000),
        lambda: Samples(1, 0, 2**32 - 5, 0, ONE, 5, period_us=1000),
        lambda: Pong(1, 0, 2**32),
    ],
)
def test_a_message_that_could_not_be_sent_cannot_be_built(build: Callable[[], Message | Channel]) -> None:
    with pytest.raises(WrongFieldError):
        build()


def test_values_without_a_typed_array_are_refused_when_sent() -> None:
    with pytest.raises(WrongFieldError, match="int64"):
        Samples(1, 0, 0, 0, np.zeros(1, dtype=np.int64), 0, period_us=1000).to_bytes()


def test_one_kind_is_not_read_as_another() -> None:
    with pytest.raises(NotAMessageError, match="Pong"):
        Pong.from_bytes(Ping(1).to_bytes())


def test_status_keeps_flags_that_it_does_not_name() -> None:
    body = Status.from_bytes(Status(1, 2, Status.from_bytes(_status(0x81)).flags, 0, 0, 0).to_bytes())
    assert int(body.flags) == 0x81


def _status(flags: int) -> bytes:
    from emberline_wire.fields import encode_map

    return encode_map({0: 3, 1: 1, 2: 2, 3: flags, 4: 0, 5: 0, 6: 0})


def test_samples_know_their_times_and_their_end() -> None:
    even = Samples(1, 0, 5, 0, np.zeros(3, dtype=np.int16), 5, period_us=1000)
    uneven = Samples(1, 0, 5, 0, np.zeros(3, dtype=np.int16), 5, offsets=np.array([0, 1, 5], dtype=np.uint16))
    assert even.offsets_us().tolist() == [0, 1000, 2000]
    assert uneven.offsets_us().tolist() == [0, 32, 160]
    assert even.next_seq == 8
    assert len(even) == 3


def test_values_lie_over_the_received_bytes_and_cannot_be_written() -> None:
    read = Samples.from_bytes(Samples(1, 0, 0, 0, np.arange(9, dtype=np.int32), 0, period_us=1000).to_bytes())
    assert not read.values.flags.writeable
    assert not read.values.flags.owndata


def test_a_kind_says_its_unit() -> None:
    assert [kind.unit for kind in Kind] == ["g", "c", "c", "c", "c", "pa", "ppm"]
