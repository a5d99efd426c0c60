"""The short form of `deploy/bench wire_c`: both codecs agree on random messages, and nothing hurts the C codec."""

import random
from pathlib import Path

import pytest

from benchmarks.wire_c.compare import Tally, agree
from benchmarks.wire_c.examples import AS_BODY, examples
from benchmarks.wire_c.messages import MAKERS
from emberline_wire import Ping, encode_frame
from emberline_wire.limits import MAX_FRAME_BYTES
from wire_c_fixture import SOURCES, build, fuzz, gcc, told

MESSAGES = 4_000
EXECUTIONS = 200_000


def test_both_codecs_agree_on_random_messages_and_on_damaged_ones(tell: Path) -> None:
    tally = Tally()
    tally.batch(tell, random.Random(20), MESSAGES)
    assert tally.different == []
    assert tally.equal == MESSAGES
    assert tally.taken > 50
    assert tally.refused > 500
    assert tally.together > MESSAGES // 8


def test_random_messages_are_of_all_kinds_and_reach_both_ends_of_a_frame() -> None:
    dice = random.Random(3)
    frames = [encode_frame(make(dice).to_bytes()) for make in MAKERS for _ in range(200)]
    assert max(map(len, frames)) > MAX_FRAME_BYTES - 30
    assert min(map(len, frames)) < 20


def test_a_difference_between_the_codecs_is_seen(tell: Path) -> None:
    ((answer,),) = told(tell, [encode_frame(Ping(7).to_bytes())])
    assert agree(Ping(7), encode_frame(Ping(7).to_bytes()), answer)
    assert not agree(Ping(8), encode_frame(Ping(7).to_bytes()), answer)
    assert not agree(Ping(7), encode_frame(Ping(8).to_bytes()), answer)


def test_nothing_that_comes_in_hurts_the_c_codec(fuzzer: Path) -> None:
    met = fuzz(fuzzer, examples(), EXECUTIONS, seed=4)
    assert met.frames > 10_000
    assert met.messages > 10_000


def test_a_codec_that_reads_a_byte_too_far_is_caught(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The check of an item's bytes against the end of the body left out, as a slip would."""
    sources = tmp_path / "c"
    sources.mkdir()
    for file in SOURCES.iterdir():
        (sources / file.name).write_bytes(file.read_bytes())
    reader = sources / "ew_cbor_read.c"
    sound = "return !has_bytes(item) || (item->argument <= (uint64_t)(body->length - item->at));"
    assert sound in reader.read_text()
    reader.write_text(reader.read_text().replace(sound, "return true;"))
    monkeypatch.setattr("wire_c_fixture.SOURCES", sources)
    fragile = build(gcc(), "fuzz", tmp_path)
    with pytest.raises(AssertionError, match="AddressSanitizer"):
        fuzz(fragile, [one for one in examples() if one.startswith(AS_BODY)], EXECUTIONS, seed=4)
