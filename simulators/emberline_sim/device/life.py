"""One boot of a device, from power-up to the next reset: everything that a reset forgets."""

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from emberline_sim.device.ring import Ring
from emberline_sim.device.sources import Sources
from emberline_wire import FrameDecoder, Message

MAX_REPLIES = 8
"""Answers that may wait to be sent; a host that asks for more goes without."""


@dataclass(frozen=True, slots=True)
class DeviceSpec:
    """What a microcontroller is like.

    Attributes:
        device: Its id.
        firmware: Version of its firmware.
        drift_ppm: How much its clock runs fast.
        ticks_at_start: Its counter at the first power-up; it restarts at 0 in a reboot.
        frame_period_s: How often it sends what it has sampled.
        ring_s: For how long its memory lasts.
        boot_s: Time from a reset to the first sample.

    """

    device: str = "sim-bench-1"
    firmware: str = "sim-1"
    drift_ppm: float = 0.0
    ticks_at_start: int = 0
    frame_period_s: float = 1.0
    ring_s: float = 8.0
    boot_s: float = 0.4


class Life:
    """State of one boot.

    Attributes:
        boot: Boot id.
        start_s: True time of the reset.
        up_s: True time from which it samples and listens.
        sampling: Whether it takes readings.
        rings: What it keeps, by channel name in the order of the table.
        decoder: Its frame decoder.
        malformed: Frames that held no valid message.
        replies: Answers waiting to be sent.
        frame_due_s, status_due_s: When the next frames and the next status are due.
        heard_s: When the host was last heard.

    """

    def __init__(
        self, spec: DeviceSpec, boot: int, sources: Sources, start_s: float, up_s: float, ticks_at_start: int
    ) -> None:
        self.boot = boot
        self.start_s = start_s
        self.up_s = up_s
        self.sampling = True
        self.rings = {
            name: Ring(source.channel.id, source.converter.dtype, int(spec.ring_s * 1e6 / source.channel.period_us) + 1)
            for name, source in sources.by_name.items()
        }
        self.decoder = FrameDecoder()
        self.malformed = 0
        self.replies: deque[Message] = deque()
        self.frame_due_s = up_s + spec.frame_period_s
        self.status_due_s = up_s
        self.heard_s = float("-inf")
        self._ticks_at_start = ticks_at_start
        self._ticks_per_s = 1e6 + spec.drift_ppm

    @property
    def waiting(self) -> int:
        """Samples kept that the host has not acknowledged."""
        return sum(ring.waiting for ring in self.rings.values())

    def ticks(self, t_s: float) -> int:
        """Return the microsecond counter at a true time, counting on beyond 32 bits."""
        return self._ticks_at_start + int((t_s - self.start_s) * self._ticks_per_s)

    def reply(self, message: Message) -> None:
        """Have a message sent, if there is room for it."""
        if len(self.replies) < MAX_REPLIES:
            self.replies.append(message)

    def named(self, wanted: Mapping[int, int]) -> Iterator[tuple[Ring, int]]:
        """Yield each ring whose stream is named, with the number wanted."""
        return ((ring, wanted[ring.stream]) for ring in self.rings.values() if ring.stream in wanted)

    def tally(self) -> dict[str, object]:
        """Return what this boot did, as plain data."""
        return {"boot": self.boot, "streams": {name: ring.tally() for name, ring in self.rings.items()}}
