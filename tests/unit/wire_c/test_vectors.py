"""The golden vectors through the C codec, both ways."""

import json
import random
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchmarks.wire_c.messages import TAGS, message
from emberline_wire import Ping, Pong, Samples, Status, encode_frame
from emberline_wire.limits import MAX_BODY_BYTES
from wire_c_fixture import told

VECTORS = Path(__file__).parents[3] / "firmware_protocol" / "vectors"


def load(name: str, key: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((VECTORS / name).read_text())[key]
    return found


def as_told(fields: dict[str, Any]) -> dict[str, Any]:
    """Return a vector's fields with its arrays as the C codec's program writes them."""
    if "dtype" not in fields:
        return fields
    arrays = {
        name: None
        if fields[name] is None
        else {"tag": TAGS[np.dtype(dtype).str], "bytes": np.array(fields[name], dtype).tobytes().hex()}
        for name, dtype in (("values", fields["dtype"]), ("offsets", "<u2"), ("faults", "u1"))
    }
    return {name: value for name, value in fields.items() if name != "dtype"} | arrays


def test_a_message_is_read_and_written_as_the_vector_says(tell: Path) -> None:
    vectors = load("frames.json", "frames")
    answers = told(tell, [bytes.fromhex(vector["frame"]) for vector in vectors])
    for vector, (answer,) in zip(vectors, answers, strict=True):
        assert answer["message"] == vector["message"], vector["name"]
        assert answer["fields"] == as_told(vector["fields"]), vector["name"]
        assert answer["body"] == vector["body"]
        assert answer["frame"] == vector["frame"]


def test_a_device_reads_every_message_from_a_host_in_the_buffer_that_it_has(tell: Path) -> None:
    vectors = [vector for vector in load("frames.json", "frames") if vector["direction"] == "host"]
    assert len({vector["message"] for vector in vectors}) == 7
    answers = told(tell, [bytes.fromhex(vector["frame"]) for vector in vectors], "device")
    for vector, (answer,) in zip(vectors, answers, strict=True):
        assert answer["message"] == vector["message"]
        assert answer["fields"] == vector["fields"]


def test_a_device_does_not_know_the_messages_of_devices_and_has_no_room_for_long_ones(tell: Path) -> None:
    vectors = [vector for vector in load("frames.json", "frames") if vector["direction"] == "device"]
    answers = told(tell, [bytes.fromhex(vector["frame"]) for vector in vectors], "device")
    errors = Counter(answer["error"] for (answer,) in answers)
    long = sum(len(vector["frame"]) // 2 > 128 for vector in vectors)
    assert errors == {"FrameTooLongError": long, "UnknownMessageError": len(vectors) - long}
    assert long >= 3


def test_several_messages_are_read_one_by_one_and_written_together(tell: Path) -> None:
    vectors = load("bodies.json", "frames")
    answers = told(tell, [bytes.fromhex(vector["frame"]) for vector in vectors], "together")
    written = 0
    for vector, (*found, last) in zip(vectors, answers, strict=True):
        for answer, item in zip(found, vector["items"], strict=True):
            assert answer.get("error") == item.get("error"), vector["name"]
            if "message" in item:
                assert (answer["message"], answer["fields"]) == (item["message"], as_told(item["fields"]))
        if all(item.get("message", "Hello") != "Hello" for item in vector["items"]):
            assert last["frame"] == vector["frame"]
            written += 1
    assert written >= 4


def test_what_does_not_fit_a_frame_any_more_leaves_it_as_it_was(tell: Path) -> None:
    """Random messages, joined by the Python codec as far as they fit."""
    dice = random.Random(7)
    whole = 0
    for _ in range(60):
        made = [one for one in (message(dice) for _ in range(12)) if isinstance(one, Samples | Status | Pong)]
        body, all_fit = b"", True
        for one in made:
            all_fit = len(body) + len(one.to_bytes()) <= MAX_BODY_BYTES
            if not all_fit:
                break
            body += one.to_bytes()
        whole += all_fit
        ((*_, last),) = told(tell, [b"".join(encode_frame(one.to_bytes()) for one in made)], "together")
        assert last["frame"] == (encode_frame(body).hex() if body else "")
    assert 5 < whole < 55


def test_a_device_refuses_a_frame_with_several_messages(tell: Path) -> None:
    frame = encode_frame(Ping(1).to_bytes() + Ping(2).to_bytes())
    assert [answer["error"] for (answer,) in told(tell, [frame], "device")] == ["NotCborError"]


def test_what_no_sender_makes_but_every_receiver_takes_is_read(tell: Path) -> None:
    vectors = load("unusual.json", "frames")
    answers = told(tell, [bytes.fromhex(vector["frame"]) for vector in vectors])
    for vector, (answer,) in zip(vectors, answers, strict=True):
        assert (answer["message"], answer["fields"]) == (vector["message"], vector["fields"]), vector["name"]


def test_a_malformed_frame_is_refused_with_the_error_named(tell: Path) -> None:
    vectors = load("malformed.json", "frames")
    answers = told(tell, [bytes.fromhex(vector["frame"]) for vector in vectors])
    refused = {vector["name"]: answer["error"] for vector, (answer,) in zip(vectors, answers, strict=True)}
    assert refused == {vector["name"]: vector["error"] for vector in vectors}


COUNTERS = {
    "FrameTooLongError": "too_long",
    "FrameTooShortError": "too_short",
    "BadStuffingError": "bad_stuffing",
    "BadChecksumError": "bad_checksum",
}


@pytest.mark.parametrize("vector", load("streams.json", "streams"), ids=lambda vector: vector["name"])
def test_frames_are_found_in_a_run_of_bytes_and_the_rest_is_told(tell: Path, vector: dict[str, Any]) -> None:
    (answers,) = told(tell, [bytes.fromhex(vector["bytes"])])
    assert [answer["body"] for answer in answers if "body" in answer] == vector["bodies"]
    counted = Counter(COUNTERS[answer["error"]] for answer in answers if answer.get("error") in COUNTERS)
    expected = {name: count for name, count in vector["counters"].items() if name in COUNTERS.values()}
    assert dict.fromkeys(expected, 0) | counted == expected


def test_the_checksum_and_the_stuffing_are_those_published(tell: Path) -> None:
    """Each published run of data as a body: RFC 1952 for the checksum, Cheshire and Baker 1999 for the stuffing.

    A body that is no CBOR is told as such, with its bytes: the checksum has fitted, and the stuffing was undone.
    """
    sealed = [
        bytes.fromhex(entry["data"]) + bytes.fromhex(entry["crc"])[::-1]
        for entry in load("primitives.json", "crc32")
        if entry["data"]
    ]
    answers = told(tell, [b"\0" + stuffed(one) + b"\0" for one in sealed])
    assert [answer["body"] for (answer,) in answers] == [one[:-4].hex() for one in sealed]
    assert len(sealed) >= 3


def stuffed(data: bytes) -> bytes:
    """Return data of fewer than 254 bytes stuffed by the rule itself: before each run of bytes that are not zero, its
    length and one (Cheshire and Baker 1999, section II)."""
    assert len(data) < 254
    return b"".join(bytes([len(run) + 1]) + run for run in data.split(b"\0"))
