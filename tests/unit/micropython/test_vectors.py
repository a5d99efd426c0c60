"""The golden vectors on MicroPython: a device writes its own messages and reads those of a host."""

import json
from pathlib import Path
from typing import Any

import numpy as np
from cobs import cobs

from benchmarks.wire_c.messages import TAGS
from micropython_fixture import MicroPython

VECTORS = Path(__file__).parents[3] / "firmware_protocol" / "vectors"


def load(name: str, key: str = "frames") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((VECTORS / name).read_text())[key]
    return found


def packet(vector: dict[str, Any]) -> str:
    """Return a frame as it goes over MQTT (PROTOCOL.md, section 9): without stuffing and delimiters."""
    sealed: bytes = cobs.decode(bytes.fromhex(vector["frame"])[1:-1])
    return sealed.hex()


def plain(fields: dict[str, Any]) -> dict[str, Any]:
    """Return a vector's fields with its arrays as bytes in hexadecimal digits."""
    if "dtype" not in fields:
        return fields
    arrays = {
        name: None if fields[name] is None else np.array(fields[name], dtype).tobytes().hex()
        for name, dtype in (("values", fields["dtype"]), ("offsets", "<u2"), ("faults", "u1"))
    }
    return fields | arrays | {"tag": TAGS[np.dtype(fields["dtype"]).str]}


def test_a_device_writes_every_message_as_the_vector_says(micropython: MicroPython) -> None:
    vectors = [vector for vector in load("frames.json") if vector["direction"] == "device"]
    assert {vector["message"] for vector in vectors} == {"Hello", "Samples", "Status", "Pong"}
    answers = micropython.run("vectors.py", data=[["write", one["message"], plain(one["fields"])] for one in vectors])
    for vector, answer in zip(vectors, answers, strict=True):
        assert answer == {"packet": packet(vector)}, vector["name"]


def test_a_device_reads_every_message_of_a_host_as_the_vector_says(micropython: MicroPython) -> None:
    vectors = [vector for vector in load("frames.json") if vector["direction"] == "host"] + load("unusual.json")
    assert len({vector["message"] for vector in vectors}) == 7
    answers = micropython.run("vectors.py", data=[["read", packet(one)] for one in vectors])
    for vector, answer in zip(vectors, answers, strict=True):
        assert answer == {"message": vector["message"], "fields": vector["fields"]}, vector["name"]


def test_every_body_of_either_side_comes_out_of_its_cbor_as_it_went_in(micropython: MicroPython) -> None:
    vectors = load("frames.json")
    answers = micropython.run("vectors.py", data=[["again", one["body"]] for one in vectors])
    assert answers == [{"body": one["body"]} for one in vectors]


def test_a_malformed_packet_is_refused_with_the_error_named(micropython: MicroPython) -> None:
    """Without those whose stuffing or length on a line is at fault, which MQTT has none of.

    What is wrong within a message of a device, a device does not see: it does not know these types.
    """
    vectors = [
        one for one in load("malformed.json") if one["error"] != "BadStuffingError" and len(one["frame"]) <= 1024
    ]
    answers = micropython.run("vectors.py", data=[["read", packet(one)] for one in vectors])
    seen = 0
    for vector, answer in zip(vectors, answers, strict=True):
        if answer["error"] == "UnknownMessageError" and is_of_a_device(vector):
            continue
        assert answer["error"] == vector["error"], vector["name"]
        seen += 1
    assert seen >= 25


def is_of_a_device(vector: dict[str, Any]) -> bool:
    """Say whether a frame holds a map whose first key is 0, with the type of a message that devices send."""
    body = bytes.fromhex(packet(vector))
    return body[0] >> 5 == 5 and body[1] == 0 and body[2] in (1, 2, 3, 4)
