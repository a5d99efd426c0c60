"""The compiled steps take what is sent, leave all else to Python, and come to the same; it goes without them, too."""

import random
import re
import runpy
import sys
from types import ModuleType

import numpy as np
import pytest
from cobs import cobs

from benchmarks.wire_c.compare import damage
from benchmarks.wire_c.messages import message
from compiled_fixture import SOURCE, nothing, use
from emberline_wire import Message, Ping, Samples, compiled, decode_body, limits
from emberline_wire.errors import BadStuffingError
from emberline_wire.fields import encode_map
from emberline_wire.framing import unstuff
from emberline_wire.limits import MAX_PERIOD_US, MAX_SAMPLES, MAX_STREAM_ID, MIN_PERIOD_US, U32_MAX

BODIES = 4_000


def outcome(body: bytes) -> list[tuple[str, ...]]:
    """Return all that can be told of what a body is read as, errors included."""
    return [told(one) for one in decode_body(body)]


def told(read: Message | Exception) -> tuple[str, ...]:
    if isinstance(read, Exception):
        return type(read).__name__, str(read)
    if isinstance(read, Samples):
        arrays = (read.values, read.offsets, read.faults)
        kinds = [
            None if one is None else (one.dtype, one.shape, one.flags.writeable, one.flags.aligned) for one in arrays
        ]
        numbers = (read.boot, read.stream, read.first_seq, read.ticks, read.oldest_seq, read.period_us)
        return "Samples", str(numbers), str(kinds), read.to_bytes().hex()
    return type(read).__name__, read.to_bytes().hex()


def bodies() -> list[bytes]:
    """Return random messages of all kinds, and each damaged."""
    dice = random.Random(26)
    sound = [message(dice).to_bytes() for _ in range(BODIES)]
    sound += [samples(dice) for _ in range(BODIES)]
    sound += [b"".join(samples(dice) for _ in range(dice.randint(2, 4))) for _ in range(BODIES // 4)]
    sound += [samples(dice) + message(dice).to_bytes() + samples(dice) for _ in range(BODIES // 4)]
    return sound + [damage(dice, body) for body in sound]


def samples(dice: random.Random) -> bytes:
    """Return the body of a message of samples of any size and kind, its numbers often at an end of their bounds."""
    count = dice.randint(1, 40)
    kind = dice.choice(("u1", "i1", "<u2", "<i2", "<u4", "<i4", "<f4", "<f8"))
    even = dice.random() < 0.5
    return Samples(
        boot=dice.choice((0, 23, 24, 255, 256, 65_535, 65_536, U32_MAX)),
        stream=dice.randint(0, MAX_STREAM_ID),
        first_seq=dice.choice((0, 23, 24, 70_000, U32_MAX - MAX_SAMPLES)),
        ticks=dice.randint(0, U32_MAX),
        oldest_seq=0,
        values=np.frombuffer(dice.randbytes(8 * count), kind)[:count],
        period_us=dice.choice((MIN_PERIOD_US, 50_000)) if even else None,
        offsets=None if even else np.sort(np.frombuffer(dice.randbytes(2 * count), np.uint16)),
        faults=np.frombuffer(dice.randbytes(count), np.uint8) if dice.random() < 0.3 else None,
    ).to_bytes()


def test_every_body_is_read_as_in_python(compiled_steps: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    taken = several = 0
    for body in bodies():
        use(monkeypatch, nothing, nothing)
        expected = outcome(body)
        use(monkeypatch, nothing, compiled_steps.read_samples)
        assert outcome(body) == expected, body.hex()
        quick = compiled_steps.read_samples(body)
        assert quick is None or {name for name, *_ in expected} == {"Samples"}
        taken += quick is not None
        several += quick is not None and len(quick) > 1
    assert taken > BODIES, "the compiled step takes what is sent"
    assert several > BODIES // 5


VALUES = 7
SOUND: dict[int, object] = {0: 2, 1: 9, 2: 3, 3: 50, 4: 600, 5: 1000, 8: 40}


@pytest.mark.parametrize(
    "other",
    [
        {2: MAX_STREAM_ID},
        {2: MAX_STREAM_ID + 1},
        {3: U32_MAX - MAX_SAMPLES},
        {3: U32_MAX - MAX_SAMPLES + 1},
        {4: U32_MAX + 1},
        {1: -1},
        {1: True},
        {8: 50},
        {8: 51},
        {5: MIN_PERIOD_US - 1},
        {5: MAX_PERIOD_US},
        {5: MAX_PERIOD_US + 1},
        {5: limits.MAX_SPAN_US // 3},
        {5: limits.MAX_SPAN_US // 3 + 1},
        {5: None},
        {0: 3},
        {10: "more"},
        {-1: 0},
    ],
    ids=str,
)
def test_every_bound_is_the_one_of_python(
    other: dict[int, object], compiled_steps: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    values = Samples(0, 0, 0, 0, np.arange(4, dtype=np.int16), 0, period_us=1000).to_fields()[VALUES]
    body = encode_map({**SOUND, VALUES: values, **other})
    use(monkeypatch, nothing, nothing)
    expected = outcome(body)
    use(monkeypatch, nothing, compiled_steps.read_samples)
    assert outcome(body) == expected
    assert [name for name, *_ in expected] != ["NotCborError"], "the example is sound CBOR"


def test_the_bounds_are_written_as_in_python() -> None:
    named = dict(re.findall(r"^#define MAX_(\w+) (\d+)u?$", SOURCE.read_text(), re.MULTILINE))
    assert int(named.pop("STREAM")) == MAX_STREAM_ID
    assert int(named.pop("STUFFED_BYTES")) == limits.MAX_FRAME_BYTES - 2
    assert {name: getattr(limits, f"MAX_{name}") for name in named} == {
        name: int(value) for name, value in named.items()
    }
    assert set(named) == {"SAMPLES", "PERIOD_US", "SPAN_US"}


def test_stuffing_is_taken_off_as_in_python(compiled_steps: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, nothing, nothing)
    dice = random.Random(27)
    left = 0
    for _ in range(3_000):
        size = dice.choice([0, 1, 2, 20, 253, 254, 255, 300, 508])
        stuffed = bytearray(
            cobs.encode(bytes(dice.choices(range(256), weights=[dice.choice([0, 1, 200])] + [1] * 255, k=size)))
        )
        if dice.random() < 0.5:
            stuffed[dice.randrange(len(stuffed))] = dice.randrange(256)
        quick = compiled_steps.unstuff(bytes(stuffed))
        if quick is None:
            left += 1
            with pytest.raises(BadStuffingError):
                unstuff(bytes(stuffed))
        else:
            assert quick == unstuff(bytes(stuffed))
    assert 300 < left < 1_500
    assert compiled_steps.unstuff(b"\xff" + b"\1" * 510) is None, "longer than a frame"


def test_what_is_no_bytes_is_refused(compiled_steps: ModuleType) -> None:
    for step in (compiled_steps.unstuff, compiled_steps.read_samples):
        with pytest.raises(TypeError, match="bytes"):
            step("text")


def test_where_nothing_is_compiled_the_steps_are_there_and_do_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "emberline_wire._compiled", None)
    assert compiled.__file__ is not None
    steps = runpy.run_path(compiled.__file__)
    assert steps["unstuff"](b"\1") is None
    assert steps["read_samples"](Ping(1).to_bytes()) is None
