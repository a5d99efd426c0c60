"""The messages that a device sends."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntFlag
from typing import ClassVar, Self, cast

import numpy as np
from numpy.typing import NDArray

from emberline_wire import limits
from emberline_wire.channels import Channel
from emberline_wire.errors import MissingFieldError, UnsupportedVersionError, WrongFieldError
from emberline_wire.fields import (
    DTYPE_OF_TAG,
    Numbers,
    check_range,
    check_text,
    take_int,
    take_maps,
    take_numbers,
    take_text,
    typed_array,
)
from emberline_wire.limits import PROTOCOL_VERSION, U32_MAX, U64_MAX
from emberline_wire.messages import Message

_U8, _U16 = np.dtype("u1"), np.dtype("<u2")


@dataclass(frozen=True, slots=True)
class Hello(Message):
    """Who the device is and what its streams carry; sent after power-up, when asked, and when the table changes.

    Attributes:
        boot: Boot id, new at every power-up or reset.
        device: The device's own id, the same for ever.
        firmware: Version of its firmware.
        channels: Channel table, ids and names unique.
        ticks: Its microsecond counter as the hello was built.
        frame_period_ms: How often it sends what it has sampled.
        ring_ms: For how long it keeps what is not acknowledged.

    """

    TYPE: ClassVar[int] = 1

    boot: int
    device: str
    firmware: str
    channels: tuple[Channel, ...]
    ticks: int
    frame_period_ms: int
    ring_ms: int

    def __post_init__(self) -> None:
        check_range(self.boot, 0, U32_MAX, "boot id")
        check_text(self.device, limits.MAX_DEVICE_BYTES, "device id")
        check_text(self.firmware, limits.MAX_FIRMWARE_BYTES, "firmware version")
        check_range(len(self.channels), 1, limits.MAX_CHANNELS, "number of channels")
        if len({c.id for c in self.channels}) + len({c.name for c in self.channels}) != 2 * len(self.channels):
            raise WrongFieldError("channel ids and names must be unique")
        check_range(self.ticks, 0, U32_MAX, "ticks")
        check_range(self.frame_period_ms, 1, limits.MAX_FRAME_PERIOD_MS, "frame period")
        check_range(self.ring_ms, 0, limits.MAX_RING_MS, "ring")

    def channel(self, stream: int) -> Channel | None:
        """Return the channel of a stream number, or None."""
        return next((channel for channel in self.channels if channel.id == stream), None)

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {
            1: self.boot,
            2: PROTOCOL_VERSION,
            3: self.device,
            4: self.firmware,
            5: [channel.to_map() for channel in self.channels],
            6: self.ticks,
            7: self.frame_period_ms,
            8: self.ring_ms,
        }

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read a hello; the version is looked at before anything that another version might have changed.

        Raises:
            UnsupportedVersionError, MissingFieldError, WrongFieldError: As they say.

        """
        version = take_int(fields, 2, "protocol version")
        if version != PROTOCOL_VERSION:
            device = fields.get(3)
            name = f"device {device:.40}" if isinstance(device, str) else "the device"
            raise UnsupportedVersionError(
                f"{name} speaks version {version} of the protocol, this side only version {PROTOCOL_VERSION}: "
                f"bring {'this side' if version > PROTOCOL_VERSION else 'its firmware'} up to date"
            )
        return cls(
            boot=take_int(fields, 1, "boot id"),
            device=take_text(fields, 3, "device id"),
            firmware=take_text(fields, 4, "firmware version"),
            channels=tuple(Channel.from_map(m) for m in take_maps(fields, 5, "channel table", limits.MAX_CHANNELS)),
            ticks=take_int(fields, 6, "ticks"),
            frame_period_ms=take_int(fields, 7, "frame period"),
            ring_ms=take_int(fields, 8, "ring"),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Samples(Message):
    """Consecutive samples of one stream.

    Attributes:
        boot: Boot id.
        stream: Stream number, a channel's id.
        first_seq: Sequence number of the first sample.
        ticks: Microsecond counter at the first sample.
        values: (n,) raw values, little-endian integers or floats.
        oldest_seq: Oldest sample of this stream that the device still keeps; what is older and missing is lost.
        period_us: Time between samples where it is constant; else None, and `offsets` given.
        offsets: (n,) uint16, sample times after `ticks` in steps of 32 us, not decreasing; else None.
        faults: (n,) uint8, bits of `Fault`; None where there are none.

    """

    TYPE: ClassVar[int] = 2

    boot: int
    stream: int
    first_seq: int
    ticks: int
    values: Numbers
    oldest_seq: int
    period_us: int | None = None
    offsets: NDArray[np.uint16] | None = None
    faults: NDArray[np.uint8] | None = None

    def __post_init__(self) -> None:
        check_range(self.boot, 0, U32_MAX, "boot id")
        check_range(self.stream, 0, limits.MAX_STREAM_ID, "stream")
        check_range(self.first_seq, 0, U32_MAX - limits.MAX_SAMPLES, "first sequence number")
        check_range(self.ticks, 0, U32_MAX, "ticks")
        check_range(len(self.values), 1, limits.MAX_SAMPLES, "number of samples")
        check_range(self.oldest_seq, 0, self.first_seq, "oldest sequence number")
        if (self.period_us is None) == (self.offsets is None):
            raise WrongFieldError("samples carry either a period or offsets")
        if self.period_us is not None:
            check_range(self.period_us, limits.MIN_PERIOD_US, limits.MAX_PERIOD_US, "period")
            check_range(
                self.period_us * (len(self.values) - 1), 0, limits.MAX_SPAN_US, "time from first to last sample"
            )
        for name, array, dtype in (("offsets", self.offsets, _U16), ("faults", self.faults, _U8)):
            if array is not None and (array.dtype != dtype or array.shape != self.values.shape):
                raise WrongFieldError(f"{name} must be {dtype.name}, one for each sample")
        if self.offsets is not None and (self.offsets[1:] < self.offsets[:-1]).any():
            raise WrongFieldError("offsets must not decrease")

    def __len__(self) -> int:
        return len(self.values)

    @property
    def next_seq(self) -> int:
        """Sequence number that follows the last sample."""
        return self.first_seq + len(self.values)

    @property
    def span_us(self) -> int:
        """Time from the first to the last sample in microseconds."""
        if self.offsets is not None:
            return int(self.offsets[-1]) * limits.OFFSET_UNIT_US
        return (len(self.values) - 1) * (self.period_us or 0)

    def offsets_us(self) -> NDArray[np.int64]:
        """Return (n,) the sample times after `ticks` in microseconds."""
        if self.offsets is not None:
            return self.offsets.astype(np.int64) * limits.OFFSET_UNIT_US
        return np.arange(len(self.values), dtype=np.int64) * (self.period_us or 0)

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {
            1: self.boot,
            2: self.stream,
            3: self.first_seq,
            4: self.ticks,
            5: self.period_us,
            6: None if self.offsets is None else typed_array(self.offsets),
            7: typed_array(self.values),
            8: self.oldest_seq,
            9: None if self.faults is None else typed_array(self.faults),
        }

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        values = take_numbers(fields, 7, "values")
        if values is None:
            raise MissingFieldError("values (key 7) is missing")
        return cls(
            boot=take_int(fields, 1, "boot id"),
            stream=take_int(fields, 2, "stream"),
            first_seq=take_int(fields, 3, "first sequence number"),
            ticks=take_int(fields, 4, "ticks"),
            values=values,
            oldest_seq=take_int(fields, 8, "oldest sequence number"),
            period_us=take_int(fields, 5, "period") if 5 in fields else None,
            offsets=cast("NDArray[np.uint16] | None", take_numbers(fields, 6, "offsets")),
            faults=cast("NDArray[np.uint8] | None", take_numbers(fields, 9, "faults")),
        )

    @classmethod
    def of_sound(
        cls,
        boot: int,
        stream: int,
        first_seq: int,
        ticks: int,
        oldest_seq: int,
        period_us: int,
        tag: int,
        values: bytes,
        offsets: bytes | None,
        faults: bytes | None,
    ) -> Self:
        """Return the message of fields that are known to be sound; they are not looked at again."""
        self, put = object.__new__(cls), object.__setattr__
        put(self, "boot", boot)
        put(self, "stream", stream)
        put(self, "first_seq", first_seq)
        put(self, "ticks", ticks)
        put(self, "values", np.frombuffer(values, DTYPE_OF_TAG[tag]))
        put(self, "oldest_seq", oldest_seq)
        put(self, "period_us", period_us or None)
        put(self, "offsets", None if offsets is None else np.frombuffer(offsets, _U16))
        put(self, "faults", None if faults is None else np.frombuffer(faults, _U8))
        return self


class DeviceFlag(IntFlag):
    """State of a device in its status message; bits that this version does not name are kept."""

    SAMPLING = 1
    OVERRAN = 2
    """Since power-up, samples were overwritten before they were acknowledged."""
    BROWN_OUT = 4
    """This boot followed a drop of the supply."""


@dataclass(frozen=True, slots=True)
class Status(Message):
    """How the device is; sent every 10 s and as the answer to start and stop.

    Attributes:
        boot: Boot id.
        ticks: Microsecond counter as the status was built.
        flags: State.
        rejected: Frames from the host that were discarded, since power-up.
        lost: Samples overwritten before they were acknowledged, all streams, since power-up.
        waiting: Samples kept that are not acknowledged, all streams.

    """

    TYPE: ClassVar[int] = 3

    boot: int
    ticks: int
    flags: DeviceFlag
    rejected: int
    lost: int
    waiting: int

    def __post_init__(self) -> None:
        for name in ("boot", "ticks", "flags", "rejected", "lost", "waiting"):
            check_range(getattr(self, name), 0, U32_MAX, name)

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {
            1: self.boot,
            2: self.ticks,
            3: int(self.flags),
            4: self.rejected,
            5: self.lost,
            6: self.waiting,
        }

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        flags = take_int(fields, 3, "flags")
        check_range(flags, 0, U32_MAX, "flags")
        return cls(
            boot=take_int(fields, 1, "boot id"),
            ticks=take_int(fields, 2, "ticks"),
            flags=DeviceFlag(flags),
            rejected=take_int(fields, 4, "frames rejected"),
            lost=take_int(fields, 5, "samples lost"),
            waiting=take_int(fields, 6, "samples waiting"),
        )


@dataclass(frozen=True, slots=True)
class Pong(Message):
    """Answer to a ping: its time as it came, and the microsecond counter when the ping had arrived."""

    TYPE: ClassVar[int] = 4

    boot: int
    time_ns: int
    ticks: int

    def __post_init__(self) -> None:
        check_range(self.boot, 0, U32_MAX, "boot id")
        check_range(self.time_ns, 0, U64_MAX, "time")
        check_range(self.ticks, 0, U32_MAX, "ticks")

    def to_fields(self) -> dict[int, object]:
        """Return the fields by key."""
        return {1: self.boot, 2: self.time_ns, 3: self.ticks}

    @classmethod
    def from_fields(cls, fields: Mapping[int, object]) -> Self:
        """Read the message; raises `MissingFieldError` or `WrongFieldError`."""
        return cls(
            boot=take_int(fields, 1, "boot id"),
            time_ns=take_int(fields, 2, "time"),
            ticks=take_int(fields, 3, "ticks"),
        )
