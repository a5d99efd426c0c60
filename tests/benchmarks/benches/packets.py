"""The few packets of MQTT 5 (OASIS standard of 7 March 2019) that many devices on one connection need, as bytes.

A client library costs as much a message as the daemon's own side does; the load must not be what is measured.
"""

from collections.abc import Iterator
from dataclasses import dataclass

CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK = 1, 2, 3, 4, 8, 9
EXPIRY = b"\x05\x02" + (604_800).to_bytes(4, "big")
"""Properties of a message: that it expires after a week (3.3.2.3.3)."""


@dataclass(frozen=True, slots=True)
class Incoming:
    """A packet from the broker: its kind, and its topic and payload where it is a message."""

    kind: int
    topic: bytes = b""
    payload: bytes = b""


def connect(name: str, keepalive_s: int) -> bytes:
    """Return a CONNECT with a clean start (3.1)."""
    head = b"\x00\x04MQTT\x05\x02" + keepalive_s.to_bytes(2, "big") + b"\x00"
    return _packet(CONNECT << 4, head + _text(name.encode()))


def subscribe(topic: bytes) -> bytes:
    """Return a SUBSCRIBE to one topic, without confirmations (3.8)."""
    return _packet(SUBSCRIBE << 4 | 2, b"\x00\x01\x00" + _text(topic) + b"\x00")


def publish(topic: bytes, number: int, payload: bytes, properties: bytes = b"\x00", *, retain: bool = False) -> bytes:
    """Return a PUBLISH that the broker has to confirm (3.3)."""
    return _packet(PUBLISH << 4 | 2 | retain, _text(topic) + number.to_bytes(2, "big") + properties + payload)


def ping() -> bytes:
    """Return a PINGREQ (3.12)."""
    return b"\xc0\x00"


class Splitter:
    """Cuts what a broker sends into packets."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes) -> Iterator[Incoming]:
        """Yield the packets that are complete."""
        data = self._rest + data
        at = 0
        while (found := _head(data, at)) is not None:
            start, end = found
            if end > len(data):
                break
            kind = data[at] >> 4
            yield _message(data[at], data[start:end]) if kind == PUBLISH else Incoming(kind, payload=data[start:end])
            at = end
        self._rest = data[at:]


def _message(first: int, body: bytes) -> Incoming:
    after = 2 + int.from_bytes(body[:2], "big")
    topic = body[2:after]
    if first & 6:
        after += 2
    # Their properties, if any, take less than 128 bytes: one byte tells their length.
    return Incoming(PUBLISH, topic, body[after + 1 + body[after] :])


def _head(data: bytes, at: int) -> tuple[int, int] | None:
    """Return where a packet's content begins and ends; None where that is not known yet."""
    length = shift = 0
    for place in range(at + 1, min(at + 5, len(data))):
        length |= (data[place] & 0x7F) << shift
        shift += 7
        if data[place] < 0x80:
            return place + 1, place + 1 + length
    return None


def _packet(first: int, body: bytes) -> bytes:
    length, head = len(body), bytearray([first])
    while length > 0x7F:
        head.append(length & 0x7F | 0x80)
        length >>= 7
    head.append(length)
    return bytes(head) + body


def _text(text: bytes) -> bytes:
    return len(text).to_bytes(2, "big") + text
