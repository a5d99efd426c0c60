"""Frames on a serial line: body, CRC-32 (ISO-HDLC), COBS, and a zero byte on either side.

COBS: S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7 (1999) 159.
The checksum is the CRC-32 of ISO/IEC 13239 (HDLC), as in `zlib.crc32`, appended least significant byte first.
"""

import zlib
from dataclasses import dataclass, fields

from cobs import cobs

from emberline_wire import compiled
from emberline_wire.errors import BadChecksumError, BadStuffingError, FrameError, FrameTooLongError, FrameTooShortError
from emberline_wire.limits import CRC_BYTES, MAX_BODY_BYTES, MAX_FRAME_BYTES

DELIMITER = b"\x00"
_MAX_STUFFED = MAX_FRAME_BYTES - 2
_FULL = 0xFF
"""Code of a block of 254 bytes that no zero follows."""
_WHOLE = zlib.crc32(bytes(CRC_BYTES))
"""Checksum of whatever its own checksum follows; here nothing, whose checksum is zero, and it."""


def seal(body: bytes) -> bytes:
    """Return `body` with its checksum: one message where the carrier keeps message bounds itself, as MQTT does.

    Raises:
        FrameTooLongError: The body exceeds `MAX_BODY_BYTES`.
        FrameTooShortError: The body is empty.

    """
    if len(body) > MAX_BODY_BYTES:
        raise FrameTooLongError(f"a body of {len(body)} bytes exceeds the limit of {MAX_BODY_BYTES}")
    if not body:
        raise FrameTooShortError("an empty body makes no frame")
    return body + zlib.crc32(body).to_bytes(CRC_BYTES, "little")


def unseal(sealed: bytes) -> bytes:
    """Return the body of what `seal` made.

    Raises:
        FrameTooLongError, FrameTooShortError, BadChecksumError: Nothing of it may be used.

    """
    if len(sealed) > MAX_BODY_BYTES + CRC_BYTES:
        raise FrameTooLongError(f"{len(sealed)} bytes exceed the limit of {MAX_BODY_BYTES + CRC_BYTES}")
    if len(sealed) <= CRC_BYTES:
        raise FrameTooShortError(f"{len(sealed)} bytes hold no body and checksum")
    if zlib.crc32(sealed) != _WHOLE:
        raise BadChecksumError(f"the checksum of {len(sealed) - CRC_BYTES} bytes of body does not fit")
    return sealed[:-CRC_BYTES]


def encode_frame(body: bytes) -> bytes:
    """Return the frame of `body` for a serial line, with both delimiters.

    Raises:
        FrameTooLongError, FrameTooShortError: As `seal`.

    """
    return b"".join((DELIMITER, cobs.encode(seal(body)), DELIMITER))


def decode_frame(stuffed: bytes) -> bytes:
    """Return the body of what lay between two delimiters.

    Raises:
        FrameTooLongError, BadStuffingError, FrameTooShortError, BadChecksumError: Nothing of it may be used.

    """
    if len(stuffed) > _MAX_STUFFED:
        raise FrameTooLongError(f"{len(stuffed)} bytes between delimiters exceed the limit of {_MAX_STUFFED}")
    return unseal(unstuff(stuffed))


def unstuff(stuffed: bytes) -> bytes:
    """Return what was stuffed; in Python by blocks in place, for that is three times as fast as the package `cobs`.

    Raises:
        BadStuffingError: It is no valid COBS.

    """
    known_sound = compiled.unstuff(stuffed)
    if known_sound is not None:
        return known_sound
    if 0 in stuffed:
        raise BadStuffingError(f"a zero byte lies within {len(stuffed)} bytes of COBS")
    data, end = bytearray(stuffed), len(stuffed)
    at, full = 0, []
    while at < end:
        code = data[at]
        data[at] = 0
        at += code
        if code == _FULL:
            full.append(at)
    if at != end:
        raise BadStuffingError(f"the last block of COBS ends beyond {len(stuffed)} bytes")
    # Each code stands for the zero before its block; there is none before the first, nor after a full one.
    for at in reversed(full):
        del data[at : at + 1]
    return bytes(data[1:])


_COUNTER_OF: dict[type[FrameError], str] = {
    FrameTooLongError: "too_long",
    FrameTooShortError: "too_short",
    BadStuffingError: "bad_stuffing",
    BadChecksumError: "bad_checksum",
}


@dataclass(slots=True)
class FrameCounters:
    """What a decoder has seen; every byte that came in is in a frame, a discard, or still in the buffer.

    Attributes:
        frames: Frames passed on.
        too_long, too_short, bad_stuffing, bad_checksum: Pieces discarded, by reason.
        bytes_discarded: Bytes in those pieces, delimiters not counted.

    """

    frames: int = 0
    too_long: int = 0
    too_short: int = 0
    bad_stuffing: int = 0
    bad_checksum: int = 0
    bytes_discarded: int = 0

    @property
    def discarded(self) -> int:
        """Pieces discarded, for whatever reason."""
        return self.too_long + self.too_short + self.bad_stuffing + self.bad_checksum

    def discard(self, why: FrameError, size: int) -> None:
        """Count a piece of `size` bytes that is no frame."""
        name = _COUNTER_OF[type(why)]
        setattr(self, name, getattr(self, name) + 1)
        self.bytes_discarded += size

    def as_dict(self) -> dict[str, int]:
        """Return the counters by name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


class FrameDecoder:
    """Cuts a stream of bytes, in whatever pieces it comes, into bodies whose checksum fits.

    Holds at most `MAX_FRAME_BYTES` whatever arrives: a piece that grows longer is dropped up to the next delimiter.
    """

    def __init__(self) -> None:
        self.counters = FrameCounters()
        self._buffer = bytearray()
        self._skipping = False

    @property
    def buffered(self) -> int:
        """Bytes held back, waiting for their delimiter."""
        return len(self._buffer)

    def feed(self, data: bytes) -> list[bytes]:
        """Take in `data` and return the bodies of all frames that it completed, in order; raises nothing."""
        first, *others = data.split(DELIMITER)
        self._take(first)
        if not others:
            return []
        *whole, rest = others
        bodies = [body for piece in (self._ended(), *whole) if piece and (body := self._body(piece))]
        self._take(rest)
        return bodies

    def reset(self) -> None:
        """Drop a half-received frame, as after a broken link; its bytes are counted as discarded."""
        if self._buffer or self._skipping:
            self.counters.bytes_discarded += len(self._buffer)
            self.counters.too_short += not self._skipping
        self._buffer.clear()
        self._skipping = False

    def _take(self, piece: bytes) -> None:
        if self._skipping:
            self.counters.bytes_discarded += len(piece)
        elif len(self._buffer) + len(piece) > _MAX_STUFFED:
            self.counters.too_long += 1
            self.counters.bytes_discarded += len(self._buffer) + len(piece)
            self._buffer.clear()
            self._skipping = True
        else:
            self._buffer += piece

    def _ended(self) -> bytes:
        """Return the piece that a delimiter has ended, empty where it was dropped."""
        piece = bytes(self._buffer)
        self._buffer.clear()
        self._skipping = False
        return piece

    def _body(self, piece: bytes) -> bytes | None:
        try:
            body = decode_frame(piece)
        except FrameError as exc:
            self.counters.discard(exc, len(piece))
            return None
        self.counters.frames += 1
        return body
