"""Random messages, every field anywhere within its bounds, with a liking for the edges."""

import dataclasses
import random
import string
from collections.abc import Callable
from typing import Any

import numpy as np

import emberline_wire as wire
from emberline_wire import limits as at_most
from emberline_wire.limits import MAX_BODY_BYTES, U32_MAX, U64_MAX

PRINTABLE = "".join(chr(code) for code in range(33, 127))
TAGS = {"|u1": 64, "<u2": 69, "<u4": 70, "|i1": 72, "<i2": 77, "<i4": 78, "<f4": 85, "<f8": 86}
"""RFC 8746, section 2.1."""
HELLO_OVERHEAD = 100
"""Bytes of a hello beside its names and channels, at most."""
CHANNEL_BYTES = 45


def number(dice: random.Random, least: int, most: int) -> int:
    """Return a whole number of any size within its bounds, often near a power of two, where a shorter form ends."""
    if dice.random() < 0.5:
        return dice.randint(least, most)
    near = (1 << dice.randint(0, most.bit_length())) + dice.randint(-1, 1)
    near *= dice.choice((1, -1))
    return min(max(near, least), most)


def text(dice: random.Random, most: int) -> str:
    """Return a text as names and ids are."""
    letters = PRINTABLE if dice.random() < 0.2 else string.ascii_lowercase + string.digits
    return "".join(dice.choices(letters, k=dice.randint(1, most)))


def scale(dice: random.Random) -> float:
    """Return a scale, as often a float of 16, of 32 and of 64 bits."""
    kind, decades = dice.choice(((np.float16, 4.5), (np.float32, 11.9), (np.float64, 11.9)))
    return float(kind(dice.choice((1, -1)) * 10.0 ** dice.uniform(-decades, decades)))


def channel(dice: random.Random, stream: int, name: str) -> wire.Channel:
    """Return an entry of a channel table."""
    return wire.Channel(
        id=stream,
        name=name,
        kind=dice.choice(list(wire.Kind)),
        period_us=number(dice, at_most.MIN_PERIOD_US, at_most.MAX_PERIOD_US),
        scale=scale(dice),
        zero=number(dice, at_most.I32_MIN, at_most.I32_MAX),
        serves=dice.choice((None, number(dice, 0, at_most.MAX_STREAM_ID))),
    )


def hello(dice: random.Random) -> wire.Hello:
    """Return a hello that fits a frame."""
    count = dice.randint(1, min(at_most.MAX_CHANNELS, (MAX_BODY_BYTES - HELLO_OVERHEAD) // CHANNEL_BYTES))
    names = {text(dice, at_most.MAX_NAME_BYTES) for _ in range(count)}
    streams = dice.sample(range(at_most.MAX_STREAM_ID + 1), len(names))
    return wire.Hello(
        boot=number(dice, 0, U32_MAX),
        device=text(dice, at_most.MAX_DEVICE_BYTES),
        firmware=text(dice, at_most.MAX_FIRMWARE_BYTES),
        channels=tuple(channel(dice, *one) for one in zip(streams, sorted(names), strict=True)),
        ticks=number(dice, 0, U32_MAX),
        frame_period_ms=number(dice, 1, at_most.MAX_FRAME_PERIOD_MS),
        ring_ms=number(dice, 0, at_most.MAX_RING_MS),
    )


def samples(dice: random.Random) -> wire.Samples:
    """Return samples that fit a frame."""
    dtype = np.dtype(dice.choice(tuple(TAGS)))
    even, faulty = dice.random() < 0.5, dice.random() < 0.3
    room = (MAX_BODY_BYTES - 60) // (dtype.itemsize + (0 if even else 2) + faulty)
    count = dice.randint(1, min(at_most.MAX_SAMPLES, room))
    first = number(dice, 0, U32_MAX - at_most.MAX_SAMPLES)
    slowest = at_most.MAX_PERIOD_US if count == 1 else at_most.MAX_SPAN_US // (count - 1)
    return wire.Samples(
        boot=number(dice, 0, U32_MAX),
        stream=number(dice, 0, at_most.MAX_STREAM_ID),
        first_seq=first,
        ticks=number(dice, 0, U32_MAX),
        values=np.frombuffer(dice.randbytes(count * dtype.itemsize), dtype=dtype),
        oldest_seq=number(dice, 0, first),
        period_us=number(dice, at_most.MIN_PERIOD_US, slowest) if even else None,
        offsets=None if even else np.sort(np.frombuffer(dice.randbytes(2 * count), dtype="<u2")),
        faults=np.frombuffer(dice.randbytes(count), dtype="u1") if faulty else None,
    )


def wanted(dice: random.Random) -> dict[int, int]:
    """Return the numbers wanted of some streams."""
    streams = dice.sample(range(at_most.MAX_STREAM_ID + 1), dice.randint(1, at_most.MAX_CHANNELS))
    return {stream: number(dice, 0, U32_MAX) for stream in streams}


def _u32s(dice: random.Random, count: int) -> list[int]:
    return [number(dice, 0, U32_MAX) for _ in range(count)]


def _status(dice: random.Random) -> wire.Status:
    boot, ticks, flags, *counts = _u32s(dice, 6)
    return wire.Status(boot, ticks, wire.DeviceFlag(flags), *counts)


MAKERS: tuple[Callable[[random.Random], wire.Message], ...] = (
    hello,
    samples,
    samples,
    _status,
    lambda dice: wire.Pong(number(dice, 0, U32_MAX), number(dice, 0, U64_MAX), number(dice, 0, U32_MAX)),
    lambda dice: wire.Ping(number(dice, 0, U64_MAX)),
    lambda dice: wire.Identify(number(dice, 1, U32_MAX)),
    lambda dice: wire.Start(number(dice, 0, U32_MAX)),
    lambda dice: wire.Stop(number(dice, 0, U32_MAX)),
    lambda dice: wire.SetRate(
        number(dice, 0, U32_MAX),
        number(dice, 0, at_most.MAX_STREAM_ID),
        number(dice, at_most.MIN_PERIOD_US, at_most.MAX_PERIOD_US),
    ),
    lambda dice: wire.Ack(number(dice, 0, U32_MAX), wanted(dice)),
    lambda dice: wire.Resume(number(dice, 0, U32_MAX), wanted(dice)),
)


def message(dice: random.Random) -> wire.Message:
    """Return a message of any type, samples twice as often as others."""
    return dice.choice(MAKERS)(dice)


def fields(one: wire.Message) -> dict[str, Any]:
    """Return a message's fields as the golden vectors and the C codec's program name them."""
    return _named(one)


def _named(one: Any) -> dict[str, Any]:
    return {field.name: _plain(getattr(one, field.name)) for field in dataclasses.fields(one)}


def _plain(value: Any) -> Any:
    match value:
        case np.ndarray():
            return {"tag": TAGS[value.dtype.str], "bytes": value.tobytes().hex()}
        case tuple():
            return [_named(one) for one in value]
        case dict():
            return {str(key): one for key, one in value.items()}
        case _:
            return value
