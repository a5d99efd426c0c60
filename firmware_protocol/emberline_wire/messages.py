"""What all messages share, and the messages that the host sends.

A message is a CBOR map with integer keys; key 0 is its type. Building one checks its bounds, so that a message that
exists can be sent. PROTOCOL.md sections 4 to 6 are normative.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

from emberline_wire import limits
from emberline_wire.errors import NotAMessageError
from emberline_wire.fields import check_range, decode_map, encode_map, take_counts, take_int
from emberline_wire.limits import PROTOCOL_VERSION, U32_MAX, U64_MAX


class Message:
    """One message; subclasses are frozen dataclasses that check their bounds when built."""

    __slots__ = ()

    TYPE: ClassVar[int]

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key, without the type; a field of value None is left out."""
        raise NotImplementedError

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message from its fields, keys that it does not know ignored.

        Raises:
            MissingFieldError, WrongFieldError: A field is absent, of the wrong type, or out of bounds.

        """
        raise NotImplementedError

    def to_bytes(self) -> bytes:
        """Return the body of a frame."""
        return encode_map({0: self.TYPE, **self.to_fields()})

    @classmethod
    def from_bytes(cls, body: bytes) -> Self:
        """Read the message from the body of a frame.

        Raises:
            NotAMessageError: It holds a message of another type.
            MessageError: Whatever else can be wrong with a body.

        """
        fields = decode_map(body)
        if fields.get(0) != cls.TYPE:
            raise NotAMessageError(f"the body holds no {cls.__name__} (type {cls.TYPE})")
        return cls.from_fields(fields)


@dataclass(frozen=True, slots=True)
class Ping(Message):
    """Asks for a pong, to compare clocks; `time_ns` is the host's and comes back unread."""

    TYPE: ClassVar[int] = 16

    time_ns: int

    def __post_init__(self) -> None:
        check_range(self.time_ns, 0, U64_MAX, "time")

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {2: self.time_ns}

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        return cls(time_ns=take_int(fields, 2, "time"))


@dataclass(frozen=True, slots=True)
class Identify(Message):
    """Asks for a hello; `version` is the newest version of the protocol that the host speaks."""

    TYPE: ClassVar[int] = 17

    version: int = PROTOCOL_VERSION

    def __post_init__(self) -> None:
        check_range(self.version, 1, U32_MAX, "protocol version")

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {2: self.version}

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        return cls(version=take_int(fields, 2, "protocol version"))


@dataclass(frozen=True, slots=True)
class _ForBoot(Message):
    """A command that a device obeys only in the boot it is meant for."""

    boot: int

    def __post_init__(self) -> None:
        check_range(self.boot, 0, U32_MAX, "boot id")

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {1: self.boot}

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        return cls(boot=take_int(fields, 1, "boot id"))


@dataclass(frozen=True, slots=True)
class Start(_ForBoot):
    """Sample again after a stop; answered by a status."""

    TYPE: ClassVar[int] = 18


@dataclass(frozen=True, slots=True)
class Stop(_ForBoot):
    """Take no more samples, but go on sending what is kept; answered by a status."""

    TYPE: ClassVar[int] = 19


@dataclass(frozen=True, slots=True)
class SetRate(Message):
    """Sample a stream every `period_us`, or as near to it as the device can; answered by a hello that says how near."""

    TYPE: ClassVar[int] = 20

    boot: int
    stream: int
    period_us: int

    def __post_init__(self) -> None:
        check_range(self.boot, 0, U32_MAX, "boot id")
        check_range(self.stream, 0, limits.MAX_STREAM_ID, "stream")
        check_range(self.period_us, limits.MIN_PERIOD_US, limits.MAX_PERIOD_US, "period")

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {1: self.boot, 2: self.stream, 3: self.period_us}

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        return cls(
            boot=take_int(fields, 1, "boot id"),
            stream=take_int(fields, 2, "stream"),
            period_us=take_int(fields, 3, "period"),
        )


@dataclass(frozen=True, slots=True)
class _Wanted(Message):
    """For each stream named, the sequence number that the host wants next."""

    boot: int
    wanted: Mapping[int, int]

    def __post_init__(self) -> None:
        check_range(self.boot, 0, U32_MAX, "boot id")
        check_range(len(self.wanted), 1, limits.MAX_CHANNELS, "number of streams")
        for stream, seq in self.wanted.items():
            check_range(stream, 0, limits.MAX_STREAM_ID, "stream")
            check_range(seq, 0, U32_MAX, "sequence number wanted")

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {1: self.boot, 2: dict(self.wanted)}

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        return cls(boot=take_int(fields, 1, "boot id"), wanted=take_counts(fields, 2, "sequence numbers wanted"))


@dataclass(frozen=True, slots=True)
class Ack(_Wanted):
    """All samples before those wanted are stored, and the device may forget them; sent after the commit only."""

    TYPE: ClassVar[int] = 21


@dataclass(frozen=True, slots=True)
class Resume(_Wanted):
    """Send these streams again from the samples wanted, or from the oldest kept; it acknowledges nothing."""

    TYPE: ClassVar[int] = 22
