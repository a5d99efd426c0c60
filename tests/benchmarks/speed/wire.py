"""The wire: bytes of a serial line to messages, and to batches that can be stored.

Baseline: a protocol of one line of text a sample, read in plain Python: split, three whole numbers, no checksum; and
one with a checksum, which is as sure as a frame.
Limit: what has to be done at least, a CRC-32 and one `numpy.frombuffer` a frame over the same bytes.

The bars are for what a checkout has, in which `deploy/compile` has compiled two steps; Python's pace is told beside it.
"""

import zlib
from collections.abc import Sequence
from unittest.mock import patch

import numpy as np

from benchmarks.service.timing import in_turns
from benchmarks.service.verdict import Bar, at_least, at_most
from benchmarks.speed.figures import Figure, Other
from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Translator
from emberline_wire import Channel, Hello, Kind, LinkState, Pong, Samples, Session, compiled, seal, unseal
from emberline_wire.decoding import decode_body
from emberline_wire.framing import FrameDecoder, encode_frame
from emberline_wire.limits import MAX_BODY_BYTES, MAX_FRAME_BYTES

BOOT, STREAM = 77, 3
PERIOD_US = 12_500
"""80 readings a second, a bridge converter's fastest: slower channels never fill a frame."""
READ_BYTES = 4096
"""Bytes that a serial port gives at a time."""
SECOND_NS = 1_000_000_000
TIMES_TEXT, WITHIN_LIMIT = 10.0, 10.0


def measure(times: int, frames: int = 400) -> tuple[list[Figure], list[Bar]]:
    """Read as many full frames, and the same samples as text."""
    messages, line = _full_frames(frames)
    count = sum(map(len, messages))
    text = _as_text(messages)
    bodies = [message.to_bytes() for message in messages]
    packets = [seal(body) for body in bodies]
    pieces = [line[at : at + READ_BYTES] for at in range(0, len(line), READ_BYTES)]
    assert sum(len(message) for message in _decoded(pieces)) == count == _as_lists(text)
    checked = b"".join(b"%s,%08x\n" % (one, zlib.crc32(one)) for one in text.splitlines())
    assert sum(map(len, _to_batches(pieces))) == count == _as_checked_lists(checked)
    taken_s = in_turns(
        {
            "decode": lambda: _decoded(pieces),
            "python": lambda: _decoded_in_python(pieces),
            "packets": lambda: [message for packet in packets for message in decode_body(unseal(packet))],
            "batches": lambda: _to_batches(pieces),
            "text": lambda: _as_lists(text),
            "checked": lambda: _as_checked_lists(checked),
            "least": lambda: _least(bodies),
        },
        times,
    )
    rate = {name: count / seconds for name, seconds in taken_s.items()}
    baseline, limit = Other("text, a line a sample", rate["text"]), Other("CRC-32 and frombuffer", rate["least"])
    unit = "samples/s"
    decode = Figure(f"frames of {MAX_FRAME_BYTES} bytes to messages", rate["decode"], unit, baseline, limit)
    in_python = Figure("the same with nothing compiled", rate["python"], unit, baseline, limit)
    packed = Figure("the same as MQTT brings them", rate["packets"], unit, baseline, limit)
    bars = [
        at_least("decode, times the text baseline", decode.by_baseline, TIMES_TEXT),
        at_most("CRC-32 and frombuffer, times the decode", 1.0 / decode.by_limit, WITHIN_LIMIT),
    ]
    as_sure = Other("text, a line and its CRC-32 a sample", rate["checked"])
    whole = Figure("the same frames to batches with times", rate["batches"], unit, as_sure, limit)
    return [decode, in_python, packed, whole], bars


def _full_frames(count: int) -> tuple[list[Samples], bytes]:
    """Return messages of a load cell, each as long as a frame can hold, and their bytes on the line."""
    dice = np.random.default_rng(5)
    each = next(n for n in range(1, 250) if len(_samples(dice, 10**9, n + 1).to_bytes()) > MAX_BODY_BYTES)
    messages = [_samples(dice, number * each, each) for number in range(count)]
    return messages, b"".join(encode_frame(message.to_bytes()) for message in messages)


def _samples(dice: np.random.Generator, first: int, count: int) -> Samples:
    after_us = np.arange(count) * PERIOD_US + dice.integers(0, 40, count)
    return Samples(
        boot=BOOT,
        stream=STREAM,
        first_seq=first,
        ticks=(first * PERIOD_US) & 0xFFFF_FFFF,
        values=dice.integers(400_000, 900_000, count).astype("<i4"),
        oldest_seq=first,
        offsets=np.rint(after_us / 32).astype(np.uint16),
    )


def _decoded(pieces: Sequence[bytes]) -> list[Samples]:
    decoder = FrameDecoder()
    messages = [message for piece in pieces for body in decoder.feed(piece) for message in decode_body(body)]
    return [message for message in messages if isinstance(message, Samples)]


def _decoded_in_python(pieces: Sequence[bytes]) -> list[Samples]:
    with patch.object(compiled, "unstuff", _nothing), patch.object(compiled, "read_samples", _nothing):
        return _decoded(pieces)


def _nothing(_: bytes) -> None:
    """Do what a step does that is not compiled."""


def _to_batches(pieces: Sequence[bytes]) -> list[SampleBatch]:
    session, translator = _session()
    now_ns, batches = 10 * SECOND_NS, []
    for piece in pieces:
        now_ns += SECOND_NS
        batches += translator.arrivals(session.receive(piece, now_ns), now_ns)
    return [one for one in batches if isinstance(one, SampleBatch)]


def _session() -> tuple[Session, Translator]:
    """Return a session that has greeted the device and waits for no clock any more."""
    session, translator = Session(), Translator()
    channel = Channel(STREAM, "mass", Kind.BRIDGE_COUNTS, PERIOD_US, 0.001, 84_213)
    hello = Hello(BOOT, "dev", "fw-1", (channel,), 0, 1000, 8000)
    session.connected(0)
    events = session.receive(encode_frame(hello.to_bytes()), SECOND_NS)
    assert session.state is LinkState.STREAMING
    translator.arrivals(events, SECOND_NS)
    session.bytes_to_send()
    session.receive(encode_frame(Pong(BOOT, SECOND_NS, 0).to_bytes()), SECOND_NS + 1_000_000)
    return session, translator


def _as_text(messages: Sequence[Samples]) -> bytes:
    return b"".join(
        b"mass,%d,%d,%d\n" % (message.first_seq + i, message.ticks + int(after_us), value)
        for message in messages
        for i, (after_us, value) in enumerate(zip(message.offsets_us(), message.values.tolist(), strict=True))
    )


def _as_lists(text: bytes) -> int:
    """Read lines of text into lists by channel, and return how many there were."""
    found: dict[str, tuple[list[int], list[int], list[int]]] = {}
    for line in text.decode("ascii").splitlines():
        channel, seq, ticks, value = line.split(",")
        numbers = found.setdefault(channel, ([], [], []))
        numbers[0].append(int(seq))
        numbers[1].append(int(ticks))
        numbers[2].append(int(value))
    return sum(len(numbers[0]) for numbers in found.values())


def _as_checked_lists(text: bytes) -> int:
    """Read lines as `_as_lists` does, after a look at the checksum at the end of each: as sure as a frame is."""
    return _as_lists(b"\n".join(map(_checked, text.splitlines())))


def _checked(line: bytes) -> bytes:
    body, _, told = line.rpartition(b",")
    if zlib.crc32(body) != int(told, 16):
        raise ValueError(f"{line!r} is damaged")
    return body


def _least(bodies: Sequence[bytes]) -> int:
    total = 0
    for body in bodies:
        zlib.crc32(body)
        total += len(np.frombuffer(body, dtype="<i4", count=len(body) // 4))
    return total
