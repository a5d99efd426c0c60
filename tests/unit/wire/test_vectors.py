"""The golden vectors, which were not made by this codec, both ways."""

import json
from pathlib import Path
from typing import Any

import cbor2
import numpy as np
import pytest

import emberline_wire as wire
import emberline_wire.errors
from emberline_wire.decoding import FROM_DEVICE, FROM_HOST
from emberline_wire.framing import decode_frame

pytestmark = pytest.mark.usefixtures("both_ways")

VECTORS = Path(__file__).parents[3] / "firmware_protocol" / "vectors"
PLAIN: dict[str, type[wire.Message]] = {
    c.__name__: c for c in (wire.Pong, wire.Ping, wire.Identify, wire.Start, wire.Stop, wire.SetRate)
}


def load(name: str, key: str) -> list[Any]:
    entries = json.loads((VECTORS / name).read_text())[key]
    return [pytest.param(entry, id=str(entry.get("name", entry))[:60]) for entry in entries]


def build(kind: str, fields: dict[str, Any]) -> wire.Message:
    """Return the message of a vector's fields."""
    if kind in PLAIN:
        return PLAIN[kind](**fields)
    if kind in ("Ack", "Resume"):
        wanted = {int(stream): seq for stream, seq in fields["wanted"].items()}
        return (wire.Ack if kind == "Ack" else wire.Resume)(fields["boot"], wanted)
    if kind == "Status":
        return wire.Status(**{**fields, "flags": wire.DeviceFlag(fields["flags"])})
    if kind == "Hello":
        channels = tuple(wire.Channel(**{**entry, "kind": wire.Kind(entry["kind"])}) for entry in fields["channels"])
        return wire.Hello(**{**fields, "channels": channels})
    arrays = {
        "values": np.array(fields["values"], dtype=fields["dtype"]),
        "offsets": None if fields["offsets"] is None else np.array(fields["offsets"], dtype=np.uint16),
        "faults": None if fields["faults"] is None else np.array(fields["faults"], dtype=np.uint8),
    }
    return wire.Samples(**{**{k: v for k, v in fields.items() if k != "dtype"}, **arrays})


@pytest.mark.parametrize("vector", load("frames.json", "frames"))
def test_a_message_is_sent_as_the_vector_says(vector: dict[str, Any]) -> None:
    message = build(vector["message"], vector["fields"])
    assert message.to_bytes().hex() == vector["body"]
    assert wire.encode_frame(message.to_bytes()).hex() == vector["frame"]


@pytest.mark.parametrize("vector", load("frames.json", "frames") + load("unusual.json", "frames"))
def test_a_frame_is_read_as_the_vector_says(vector: dict[str, Any]) -> None:
    (body,) = wire.FrameDecoder().feed(bytes.fromhex(vector["frame"]))
    message = wire.decode_message(body)
    assert type(message).__name__ == vector["message"]
    assert message.to_bytes() == build(vector["message"], vector["fields"]).to_bytes()
    assert type(message).from_bytes(body).to_bytes() == message.to_bytes()


@pytest.mark.parametrize("vector", load("bodies.json", "frames"))
def test_several_messages_are_read_in_order_and_what_is_none_is_named(vector: dict[str, Any]) -> None:
    (body,) = wire.FrameDecoder().feed(bytes.fromhex(vector["frame"]))
    assert body.hex() == vector["body"]
    found = wire.decode_body(body)
    for one, item in zip(found, vector["items"], strict=True):
        assert type(one).__name__ == item.get("message", item.get("error"))
        if isinstance(one, wire.Message):
            assert one.to_bytes() == build(item["message"], item["fields"]).to_bytes()


@pytest.mark.parametrize("vector", load("bodies.json", "frames"))
def test_several_messages_are_sent_as_the_vector_says(vector: dict[str, Any]) -> None:
    if any("error" in item for item in vector["items"]):
        return
    body = b"".join(build(item["message"], item["fields"]).to_bytes() for item in vector["items"])
    assert body.hex() == vector["body"]
    assert wire.encode_frame(body).hex() == vector["frame"]


@pytest.mark.parametrize("vector", load("malformed.json", "frames"))
def test_a_malformed_frame_is_refused_with_the_error_named(vector: dict[str, Any]) -> None:
    error = getattr(emberline_wire.errors, vector["error"])
    stuffed = bytes.fromhex(vector["frame"])[1:-1]
    with pytest.raises(wire.WireError) as caught:
        wire.decode_message(decode_frame(stuffed))
    assert type(caught.value) is error
    assert str(caught.value)


@pytest.mark.parametrize("vector", load("streams.json", "streams"))
def test_frames_are_found_in_a_run_of_bytes_and_the_rest_is_counted(vector: dict[str, Any]) -> None:
    decoder = wire.FrameDecoder()
    bodies = decoder.feed(bytes.fromhex(vector["bytes"]))
    assert [body.hex() for body in bodies] == vector["bodies"]
    counters = decoder.counters.as_dict()
    assert counters.pop("frames") == len(bodies)
    assert counters == vector["counters"]


@pytest.mark.parametrize("vector", load("frames.json", "frames"))
def test_a_general_cbor_library_reads_the_same_and_would_write_the_same(vector: dict[str, Any]) -> None:
    """RFC 8949, section 4.2.1: the core deterministic encoding, here that of the cbor2 library."""
    body = bytes.fromhex(vector["body"])
    assert cbor2.dumps(cbor2.loads(body), canonical=True) == body


def test_every_message_has_a_vector() -> None:
    seen = {vector["message"] for vector in json.loads((VECTORS / "frames.json").read_text())["frames"]}
    assert seen == {cls.__name__ for cls in [*FROM_DEVICE.values(), *FROM_HOST.values()]}
