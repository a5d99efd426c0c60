"""What a link hands on: readings, losses, and who the device is; the wire's own terms end here."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from emberline.bench.samples import SampleBatch
from emberline_wire import Channel, Event, Gap, Greeted, Hello, Kind, Loss, Readings, Rebooted

COLD_JUNCTION_SUFFIX = ".cold_junction"
"""Ending of the stored name of a cold junction; before it stands the name of the thermocouple's channel."""

REASONS: Mapping[Loss, str] = {
    Loss.OVERRUN: "the device overwrote them before they could be stored",
    Loss.REBOOT: "the device restarted before it could send them again",
    Loss.BEFORE_CONTACT: "the device overwrote them before the first contact",
}


@dataclass(frozen=True, slots=True)
class DeviceChannel:
    """One stream of a device.

    Attributes:
        name: Name on the device.
        unit: `c`, `g`, `pa` or `ppm`.
        period_s: Nominal time between samples.
        scale: Size of one step of the raw value, in `unit`.
        zero: Raw value that stands for 0.
        serves: For a cold junction, the name of its thermocouple's channel; else None.
        calibrated: Whether values come in `unit`; else they are counts, and `unit` is empty where nobody says it.
        flat: Whether a thermocouple's converter takes its curve for a straight line, and sends its cold junction, too.
    """

    name: str
    unit: str
    period_s: float
    scale: float
    zero: int
    serves: str | None = None
    calibrated: bool = False
    flat: bool = False


@dataclass(frozen=True, slots=True)
class Greeting:
    """Who is on the link.

    Attributes:
        device: Device id.
        boot: Boot id.
        firmware: Version of its firmware.
        channels: Its streams.
        frame_period_s: How often it sends what it has sampled.
        keeps_s: For how long it keeps what is not stored here.
    """

    device: str
    boot: int
    firmware: str
    channels: tuple[DeviceChannel, ...]
    frame_period_s: float
    keeps_s: float


@dataclass(frozen=True, slots=True)
class Restart:
    """The device restarted between two boots."""

    device: str
    old_boot: int
    boot: int


@dataclass(frozen=True, slots=True)
class Lost:
    """Samples `first_seq` to `next_seq - 1` of a stream will not come any more; times as in a stored gap."""

    device: str
    boot: int
    channel: str
    first_seq: int
    next_seq: int
    start_ns: int
    end_ns: int
    reason: str


class Teller(Protocol):
    """Whom to tell that readings are on disk."""

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted, by channel, are on disk."""


@dataclass(frozen=True, slots=True, eq=False)
class Unnumbered:
    """Readings of one channel without sequence numbers: device, channel and time name each of them.

    Attributes:
        device: What names the device.
        channel: Name of the channel within the bench.
        t_ns: (n,) int64, UTC nanoseconds, not decreasing.
        raw: (n,) float64, in the channel's unit, or counts.
        flags: (n,) uint8, bits `FLAG_*`; a time of arrival names nothing.
        teller: To be told once they are on disk, or are known to be.
    """

    device: str
    channel: str
    t_ns: NDArray[np.int64]
    raw: NDArray[np.float64]
    flags: NDArray[np.uint8]
    teller: Teller


@dataclass(frozen=True, slots=True)
class Missed:
    """Readings of one channel without numbers that will not come any more, between two that did; as `Unnumbered`."""

    device: str
    channel: str
    count: int
    start_ns: int
    end_ns: int
    reason: str
    teller: Teller


Arrival = SampleBatch | Lost | Greeting | Restart | Unnumbered | Missed


@dataclass
class Translator:
    """Turns a session's events into arrivals.

    Attributes:
        names: Names within the bench, by names on the device, where the two differ.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    _last_ns: dict[tuple[int, str], int] = field(default_factory=dict)
    _hello: Hello | None = None
    _stored: dict[int, str] = field(default_factory=dict)

    def arrivals(self, events: Iterable[Event], now_ns: int) -> list[Arrival]:
        """Return what the host needs to know of a session's events, in their order."""
        out: list[Arrival] = []
        for event in events:
            if isinstance(event, Greeted):
                self._hello = event.hello
                self._stored = {channel.id: self._name(channel, event.hello) for channel in event.hello.channels}
                out.append(_greeting(event.hello))
            elif isinstance(event, Rebooted) and self._hello is not None:
                out.append(Restart(self._hello.device, event.old_boot, event.boot))
                # What was missing of the old boot has been told before its end was.
                self._last_ns.clear()
            elif isinstance(event, Readings):
                batch = self._batch(event)
                self._last_ns[batch.boot, batch.channel] = int(batch.t_ns[-1])
                out.append(batch)
            elif isinstance(event, Gap):
                out.append(self._lost(event, now_ns))
        return _with_ends(out)

    def stored_name(self, stream: int) -> str | None:
        """Return the name under which a stream is stored, None for one that is in no channel table yet."""
        return self._stored.get(stream)

    def streams(self) -> dict[str, int]:
        """Return the stream numbers by stored name."""
        return {name: stream for stream, name in self._stored.items()}

    def _name(self, channel: Channel, hello: Hello) -> str:
        served = None if channel.serves is None else hello.channel(channel.serves)
        if served is not None:
            return self.names.get(served.name, served.name) + COLD_JUNCTION_SUFFIX
        return self.names.get(channel.name, channel.name)

    def _batch(self, readings: Readings) -> SampleBatch:
        raw = readings.raw
        if readings.channel.kind is Kind.COLD_JUNCTION:
            # Its conversion is part of the converter and never calibrated, so it is stored in degrees.
            raw = (raw - readings.channel.zero) * readings.channel.scale
        return SampleBatch(
            device=readings.device,
            boot=readings.boot,
            channel=self.stored_name(readings.channel.id) or readings.channel.name,
            first_seq=readings.first_seq,
            t_ns=readings.t_ns,
            raw=raw,
            # Whether there is a fault, a byte each: `FLAG_FAULT` is 1.
            flags=(readings.faults != 0).view(np.uint8),
        )

    def _lost(self, gap: Gap, now_ns: int) -> Lost:
        channel = self.stored_name(gap.channel.id) or gap.channel.name
        missing_ns = (gap.next_seq - gap.first) * gap.channel.period_us * 1000
        start_ns = self._last_ns.get((gap.boot, channel), now_ns - missing_ns)
        reason = REASONS[gap.loss]
        return Lost(gap.device, gap.boot, channel, gap.first, gap.next_seq, start_ns, max(start_ns, now_ns), reason)


def _with_ends(arrivals: list[Arrival]) -> list[Arrival]:
    """Let each loss end with the first sample after it, where that came along with it."""
    if not any(isinstance(one, Lost) for one in arrivals):
        return arrivals
    first_ns: dict[tuple[int, str], int] = {}
    for index in range(len(arrivals) - 1, -1, -1):
        one = arrivals[index]
        if isinstance(one, SampleBatch):
            first_ns[one.boot, one.channel] = int(one.t_ns[0])
        elif isinstance(one, Lost) and (one.boot, one.channel) in first_ns:
            end_ns = first_ns[one.boot, one.channel]
            start_ns = min(one.start_ns, end_ns)
            arrivals[index] = Lost(
                one.device, one.boot, one.channel, one.first_seq, one.next_seq, start_ns, end_ns, one.reason
            )
    return arrivals


def _greeting(hello: Hello) -> Greeting:
    names = {channel.id: channel.name for channel in hello.channels}
    served = {channel.serves for channel in hello.channels}
    return Greeting(
        device=hello.device,
        boot=hello.boot,
        firmware=hello.firmware,
        channels=tuple(
            DeviceChannel(
                channel.name,
                channel.kind.unit,
                channel.period_us * 1e-6,
                channel.scale,
                channel.zero,
                None if channel.serves is None else names.get(channel.serves),
                flat=channel.kind is Kind.THERMOCOUPLE_FLAT and channel.id in served,
            )
            for channel in hello.channels
        ),
        frame_period_s=hello.frame_period_ms / 1000.0,
        keeps_s=hello.ring_ms / 1000.0,
    )
