"""All that a host knows of one boot of one device: its streams in order, its clock, what is stored."""

from collections.abc import Iterable, Mapping

import numpy as np

from emberline_wire.channels import Channel
from emberline_wire.clock import DeviceClock
from emberline_wire.device_messages import Samples
from emberline_wire.events import Gap, Readings, SessionCounters
from emberline_wire.limits import U32_MAX
from emberline_wire.streams import Hole, StreamOrder

MAX_PENDING = 256
"""Frames that may wait for the clock; more are stamped with what is known of it."""


class Boot:
    """Turns the sample frames of one boot into readings with host times.

    Attributes:
        device: Device id.
        id: Boot id.
        clock: The clock of this boot.
        committed: For each stream number the sequence number after the last sample stored.

    """

    def __init__(
        self,
        device: str,
        boot: int,
        counters: SessionCounters,
        committed: Mapping[int, int] | None,
        clock: DeviceClock,
    ) -> None:
        """Start with nothing received.

        Args:
            device: Device id.
            boot: Boot id.
            counters: Where to count.
            committed: What is stored of this boot, by stream; empty where the host saw the device restart; None where
                it has never heard of this boot, so that what the device no longer has was overwritten before contact.
            clock: The clock of this boot.

        """
        self.device = device
        self.id = boot
        self.clock = clock
        self.committed = dict(committed or {})
        self._counters = counters
        self._first_wanted = None if committed is None else 0
        self._channels: dict[int, Channel] = {}
        self._orders = {stream: StreamOrder(wanted) for stream, wanted in self.committed.items()}
        self._pending: list[tuple[Channel, Samples | Hole, int]] = []
        self._last_t_ns: dict[int, int] = {}

    def set_table(self, channels: Iterable[Channel]) -> None:
        """Take over the channel table of a hello."""
        self._channels = {channel.id: channel for channel in channels}
        for stream in self._channels:
            if stream not in self._orders:
                self._orders[stream] = StreamOrder(self._first_wanted)

    def wanted(self) -> dict[int, int]:
        """Return for each stream in the table the sequence number after the last sample received in order."""
        return {stream: self._orders[stream].wanted for stream in self._channels}

    def stores(self, frame: Samples) -> bool:
        """Return whether all of `frame` is stored already: then the device has missed the acknowledgement."""
        return frame.next_seq <= self.committed.get(frame.stream, 0)

    def missing(self) -> dict[int, int]:
        """Return the streams that have a hole which may still be filled, and where it begins."""
        return {stream: order.wanted for stream, order in self._orders.items() if order.waiting}

    def take(self, frame: Samples, arrived_ns: int) -> None:
        """Take in a frame that arrived at `arrived_ns`; `flush` gives out what it brought."""
        channel = self._channels.get(frame.stream)
        if channel is None:
            self._counters.unknown_streams += 1
            return
        self.clock.arrival((frame.ticks + frame.span_us) & U32_MAX, arrived_ns)
        order = self._orders[frame.stream]
        duplicates, set_aside = order.duplicates, order.set_aside
        self._pending += [(channel, part, arrived_ns) for part in order.take(frame)]
        self._counters.duplicates += order.duplicates - duplicates
        self._counters.set_aside += order.set_aside - set_aside

    def flush(self, *, wait: bool) -> list[Readings | Gap]:
        """Return what is in order and can be given times; with `wait`, only if a pong has come or too much waits."""
        if wait and not self.clock.synchronised and len(self._pending) <= MAX_PENDING:
            return []
        pending, self._pending = self._pending, []
        return [
            Gap(self.device, self.id, channel, part.first, part.last, part.loss)
            if isinstance(part, Hole)
            else self._stamp(channel, part, arrived_ns)
            for channel, part, arrived_ns in pending
        ]

    def finish(self, now_ns: int) -> list[Readings | Gap]:
        """Return all that was held back, its holes given up: the device has restarted."""
        for stream, order in self._orders.items():
            if stream in self._channels:
                self._pending += [(self._channels[stream], part, now_ns) for part in order.finish()]
        return self.flush(wait=False)

    def ended(self) -> dict[int, int]:
        """Return for each stream ever heard of the sequence number after its last sample received in order."""
        return {stream: order.wanted for stream, order in self._orders.items()}

    def _stamp(self, channel: Channel, frame: Samples, arrived_ns: int) -> Readings:
        ticks = self.clock.unwrap(frame.ticks, arrived_ns) + frame.offsets_us()
        t_ns = self.clock.times_ns(ticks)
        least = self._last_t_ns.get(channel.id)
        if least is not None and t_ns[0] < least:
            self._counters.backwards += 1
            t_ns = np.maximum(t_ns, least)
        self._last_t_ns[channel.id] = int(t_ns[-1])
        return Readings(
            device=self.device,
            boot=self.id,
            channel=channel,
            first_seq=frame.first_seq,
            t_ns=t_ns,
            raw=frame.values.astype(np.float64),
            faults=np.zeros(len(frame), dtype=np.uint8) if frame.faults is None else frame.faults,
        )
