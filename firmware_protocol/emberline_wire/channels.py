"""What a device's streams carry: kinds of raw values, fault bits, and the entries of the channel table."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Self

from emberline_wire import limits
from emberline_wire.errors import WrongFieldError
from emberline_wire.fields import check_range, check_text, take_int, take_number, take_text


class Kind(IntEnum):
    """What a channel's raw values are; it fixes the unit of `(raw - zero) * scale`."""

    BRIDGE_COUNTS = 1
    """Counts of a load cell's converter; grams."""
    THERMOCOUPLE_LINEARISED = 2
    """Code of a converter that applies the thermocouple's own function; degrees Celsius."""
    THERMOCOUPLE_FLAT = 3
    """Code of a converter of constant slope, cold junction added; degrees Celsius, to be made linear by the host."""
    COLD_JUNCTION = 4
    """Code of a converter's own temperature, for the channel it `serves`; degrees Celsius."""
    TEMPERATURE = 5
    """Code of any other thermometer; degrees Celsius."""
    PRESSURE = 6
    """Station pressure; pascals."""
    CARBON_MONOXIDE = 7
    """Volume fraction of carbon monoxide; parts per million."""

    @property
    def unit(self) -> str:
        """Unit of the physical value: `g`, `c`, `pa` or `ppm`."""
        return _UNITS[self]


_UNITS = {
    Kind.BRIDGE_COUNTS: "g",
    Kind.THERMOCOUPLE_LINEARISED: "c",
    Kind.THERMOCOUPLE_FLAT: "c",
    Kind.COLD_JUNCTION: "c",
    Kind.TEMPERATURE: "c",
    Kind.PRESSURE: "pa",
    Kind.CARBON_MONOXIDE: "ppm",
}


class Fault(IntFlag):
    """Why a sample is not to be believed; its raw value is then what the converter happened to give."""

    OPEN = 1
    SHORT_LOW = 2
    SHORT_HIGH = 4
    SATURATED = 8
    NO_ANSWER = 16
    COLD_JUNCTION = 32


@dataclass(frozen=True, slots=True)
class Channel:
    """One entry of the channel table; a channel is a stream of samples.

    Attributes:
        id: Stream number, 0 to 63.
        name: Name on the device, such as `water`.
        kind: What the raw values are.
        period_us: Nominal time between samples; the samples carry their true times.
        scale: Nominal size of one step of the raw value, in the unit of `kind`; not 0, and negative if wired so.
        zero: Raw value that stands for a physical 0: physical value = (raw - zero) * scale.
        serves: For a cold junction, the stream number of its thermocouple.

    """

    id: int
    name: str
    kind: Kind
    period_us: int
    scale: float
    zero: int = 0
    serves: int | None = None

    def __post_init__(self) -> None:
        """Check the bounds."""
        check_range(self.id, 0, limits.MAX_STREAM_ID, "channel id")
        check_text(self.name, limits.MAX_NAME_BYTES, "channel name")
        check_range(self.period_us, limits.MIN_PERIOD_US, limits.MAX_PERIOD_US, "channel period")
        check_range(abs(self.scale), limits.MIN_SCALE, limits.MAX_SCALE, "size of a channel's scale")
        check_range(self.zero, limits.I32_MIN, limits.I32_MAX, "channel zero")
        if self.serves is not None:
            check_range(self.serves, 0, limits.MAX_STREAM_ID, "channel served")

    def to_map(self) -> dict[int, object]:
        """Return the CBOR map of this entry."""
        entries: dict[int, object] = {0: self.id, 1: self.name, 2: int(self.kind), 3: self.period_us}
        entries |= {4: float(self.scale), 5: self.zero}
        return entries if self.serves is None else {**entries, 6: self.serves}

    @classmethod
    def from_map(cls, entries: Mapping[int, object]) -> Self:
        """Read an entry; raises `MissingFieldError` or `WrongFieldError`."""
        kind = take_int(entries, 2, "channel kind")
        if kind not in _UNITS:
            raise WrongFieldError(f"channel kind {kind} is not one that this version knows")
        return cls(
            id=take_int(entries, 0, "channel id"),
            name=take_text(entries, 1, "channel name"),
            kind=Kind(kind),
            period_us=take_int(entries, 3, "channel period"),
            scale=take_number(entries, 4, "channel scale"),
            zero=take_int(entries, 5, "channel zero"),
            serves=take_int(entries, 6, "channel served") if 6 in entries else None,
        )
