"""Frames on a serial line."""

import json
import random
import zlib
from pathlib import Path
from typing import Any

import pytest
from cobs import cobs

from emberline_wire.errors import BadChecksumError, BadStuffingError, FrameTooLongError, FrameTooShortError
from emberline_wire.framing import FrameDecoder, encode_frame, seal, unseal, unstuff
from emberline_wire.limits import MAX_BODY_BYTES, MAX_FRAME_BYTES

pytestmark = pytest.mark.usefixtures("both_ways")

PRIMITIVES = json.loads((Path(__file__).parents[3] / "firmware_protocol/vectors/primitives.json").read_text())


@pytest.mark.parametrize("case", PRIMITIVES["crc32"], ids=lambda case: case["data"][:20])
def test_the_checksum_is_the_published_one(case: dict[str, str]) -> None:
    """CRC-32/ISO-HDLC: check value CBF43926 of the nine digits, printed with the algorithm (from memory)."""
    data = bytes.fromhex(case["data"])
    assert zlib.crc32(data) == int(case["crc"], 16)
    if data:
        assert seal(data)[-4:] == int(case["crc"], 16).to_bytes(4, "little")


@pytest.mark.parametrize("case", PRIMITIVES["cobs"], ids=lambda case: case["data"][:20])
def test_the_stuffing_follows_the_paper(case: dict[str, Any]) -> None:
    """Cheshire and Baker, IEEE/ACM Transactions on Networking 7 (1999) 159, section II: worked by its rules."""
    assert cobs.encode(bytes.fromhex(case["data"])).hex() == case["stuffed"]
    assert unstuff(bytes.fromhex(case["stuffed"])).hex() == case["data"]


def test_stuffing_is_taken_off_and_refused_as_the_package_does() -> None:
    """Against `cobs.cobs` of the package cobs, on valid and damaged pieces with long and short blocks."""
    dice = random.Random(19)
    taken = refused = 0
    for _ in range(20_000):
        size = dice.choice([0, 1, 2, 20, 253, 254, 255, 300, 508])
        data = bytes(dice.choices(range(256), weights=[dice.choice([0, 1, 200])] + [1] * 255, k=size))
        stuffed = bytearray(cobs.encode(data))
        if dice.random() < 0.5:
            stuffed[dice.randrange(len(stuffed))] = dice.randrange(256)
        try:
            expected = cobs.decode(bytes(stuffed))
        except cobs.DecodeError:
            refused += 1
            with pytest.raises(BadStuffingError):
                unstuff(bytes(stuffed))
        else:
            taken += 1
            assert unstuff(bytes(stuffed)) == expected
    assert min(taken, refused) > 1000, (taken, refused)
    assert unstuff(b"") == cobs.decode(b"") == b""


@pytest.mark.parametrize("fill", [0x00, 0x55, 0xFF])
def test_the_largest_body_fills_a_frame_and_no_more(fill: int) -> None:
    frame = encode_frame(bytes([fill]) * MAX_BODY_BYTES)
    assert len(frame) <= MAX_FRAME_BYTES
    assert FrameDecoder().feed(frame) == [bytes([fill]) * MAX_BODY_BYTES]


def test_sizes_out_of_bounds_are_refused() -> None:
    for call in (seal, encode_frame):
        with pytest.raises(FrameTooLongError):
            call(bytes(MAX_BODY_BYTES + 1))
        with pytest.raises(FrameTooShortError):
            call(b"")
    with pytest.raises(FrameTooLongError):
        unseal(bytes(MAX_BODY_BYTES + 5))
    with pytest.raises(FrameTooShortError):
        unseal(b"1234")
    with pytest.raises(BadChecksumError):
        unseal(b"12345")


def test_what_is_sealed_unseals() -> None:
    assert unseal(seal(b"x")) == b"x"


def test_ten_megabytes_of_noise_leave_the_memory_flat_and_the_next_frame_whole() -> None:
    decoder = FrameDecoder()
    noise = bytes(range(1, 256)) * 257
    for _ in range(160):
        assert decoder.feed(noise) == []
        assert decoder.buffered <= 2 * MAX_FRAME_BYTES
    assert decoder.feed(encode_frame(b"here")) == [b"here"]
    assert decoder.counters.too_long == 1
    assert decoder.counters.bytes_discarded == 160 * len(noise)


def test_a_broken_link_drops_half_a_frame_and_counts_it() -> None:
    decoder = FrameDecoder()
    decoder.feed(encode_frame(b"half a frame")[:7])
    decoder.reset()
    assert decoder.buffered == 0
    assert decoder.counters.bytes_discarded == 6
    assert decoder.feed(encode_frame(b"whole")) == [b"whole"]
