"""The messages of the wire as a device needs them: it writes its own, and reads those of a host (PROTOCOL.md)."""

import binascii

from wire_cbor import Tagged, WireError, decode, encode

PROTOCOL_VERSION = 1
MAX_BODY_BYTES = 504
MAX_SAMPLES = 250
MAX_SPAN_US = 2_097_120
OFFSET_UNIT_US = 32
SAMPLES_OVERHEAD_BYTES = 56
"""A message of samples takes at most so many bytes beside its arrays."""

MAX_CHANNELS, MAX_STREAM_ID = 12, 63
U32_MAX, U64_MAX = (1 << 32) - 1, (1 << 64) - 1
MIN_PERIOD_US, MAX_PERIOD_US = 1_000, 60_000_000

UINT8, UINT16, INT16, INT32 = 64, 69, 77, 78
"""Tags of typed arrays, little-endian (RFC 8746, section 2.1)."""

BRIDGE_COUNTS, LINEARISED, FLAT, COLD_JUNCTION, TEMPERATURE, PRESSURE, CARBON_MONOXIDE = 1, 2, 3, 4, 5, 6, 7
"""Kinds of channels."""

OPEN, SHORT_LOW, SHORT_HIGH, SATURATED, NO_ANSWER, COLD_JUNCTION_RANGE = 1, 2, 4, 8, 16, 32
"""Fault bits of a sample."""

SAMPLING, OVERRAN, BROWN_OUT = 1, 2, 4
"""Flags of a status."""

_BOOT = (1, "boot", 0, U32_MAX)
_COMMANDS = {
    16: ("Ping", ((2, "time_ns", 0, U64_MAX),)),
    17: ("Identify", ((2, "version", 1, U32_MAX),)),
    18: ("Start", (_BOOT,)),
    19: ("Stop", (_BOOT,)),
    20: ("SetRate", (_BOOT, (2, "stream", 0, MAX_STREAM_ID), (3, "period_us", MIN_PERIOD_US, MAX_PERIOD_US))),
    21: ("Ack", (_BOOT,)),
    22: ("Resume", (_BOOT,)),
}
"""By type: the name, and key, name and bounds of each number in it."""


def hello(
    boot: int, device: str, firmware: str, channels: list, ticks: int, frame_period_ms: int, ring_ms: int
) -> bytes:
    """Return the body of a hello; `channels` are the maps of `channel`."""
    return encode(
        {
            0: 1,
            1: boot,
            2: PROTOCOL_VERSION,
            3: device,
            4: firmware,
            5: channels,
            6: ticks,
            7: frame_period_ms,
            8: ring_ms,
        }
    )


def channel(stream: int, name: str, kind: int, period_us: int, scale: float, zero: int, serves: int | None) -> dict:
    """Return one entry of the channel table: physical value = (raw - zero) x scale."""
    entry = {0: stream, 1: name, 2: kind, 3: period_us, 4: float(scale), 5: zero}
    if serves is not None:
        entry[6] = serves
    return entry


def samples(
    boot: int,
    stream: int,
    first_seq: int,
    ticks: int,
    offsets: bytes | None,
    period_us: int | None,
    values_tag: int,
    values: bytes,
    oldest_seq: int,
    faults: bytes | None,
) -> bytes:
    """Return the body of consecutive samples of one stream, arrays as their little-endian bytes.

    Either `offsets` or `period_us` is given, and `faults` only where there are some.
    """
    fields = {0: 2, 1: boot, 2: stream, 3: first_seq, 4: ticks, 7: Tagged(values_tag, values), 8: oldest_seq}
    if offsets is None:
        fields[5] = period_us
    else:
        fields[6] = Tagged(UINT16, offsets)
    if faults is not None:
        fields[9] = Tagged(UINT8, faults)
    return encode(fields)


def status(boot: int, ticks: int, flags: int, rejected: int, lost: int, waiting: int) -> bytes:
    """Return the body of a status."""
    return encode({0: 3, 1: boot, 2: ticks, 3: flags, 4: rejected, 5: lost, 6: waiting})


def pong(boot: int, time_ns: int, ticks: int) -> bytes:
    """Return the body of the answer to a ping."""
    return encode({0: 4, 1: boot, 2: time_ns, 3: ticks})


def seal(body: bytes) -> bytes:
    """Return a body with its checksum: one MQTT message."""
    return body + binascii.crc32(body).to_bytes(4, "little")


def unseal(packet: bytes) -> bytes:
    """Return the body of an MQTT message; raises `WireError`."""
    if len(packet) > MAX_BODY_BYTES + 4:
        raise WireError("FrameTooLongError", len(packet))
    if len(packet) < 5:
        raise WireError("FrameTooShortError", len(packet))
    if binascii.crc32(packet[:-4]) != int.from_bytes(packet[-4:], "little"):
        raise WireError("BadChecksumError", len(packet))
    return packet[:-4]


def read_command(body: bytes) -> tuple:
    """Return the name of a host's message and its fields by name; raises `WireError`."""
    message = decode(body)
    if not isinstance(message, dict) or type(message.get(0)) is not int:
        raise WireError("NotAMessageError", "no map with a message type")
    if message[0] not in _COMMANDS:
        raise WireError("UnknownMessageError", message[0])
    name, numbers = _COMMANDS[message[0]]
    fields = {}
    for key, field, least, most in numbers:
        fields[field] = _within(_present(message, key), least, most)
    if name in ("Ack", "Resume"):
        fields["wanted"] = _wanted(_present(message, 2))
    return name, fields


def _present(message: dict, key: int) -> object:
    if key not in message:
        raise WireError("MissingFieldError", key)
    return message[key]


def _within(number: object, least: int, most: int) -> int:
    if type(number) is not int or not least <= number <= most:
        raise WireError("WrongFieldError", number)
    return number


def _wanted(entries: object) -> dict:
    if not isinstance(entries, dict) or not 1 <= len(entries) <= MAX_CHANNELS:
        raise WireError("WrongFieldError", "streams wanted")
    for stream in entries:
        _within(stream, 0, MAX_STREAM_ID)
        _within(entries[stream], 0, U32_MAX)
    return entries
