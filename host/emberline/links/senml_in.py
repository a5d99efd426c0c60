"""SenML messages of a bench: from packets to readings by channel, and what channels there are."""

import hashlib
import logging
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED
from emberline.links.arrivals import DeviceChannel, Greeting, Unnumbered
from emberline.links.mqtt_claims import Claims
from emberline.links.mqtt_messages import Packet, nobody
from emberline.links.pace import Pace
from emberline.links.senml import Reading, SenmlError, read_senml
from emberline.links.senml_units import conversion

LOG = logging.getLogger(__name__)

DEVICE = "senml"
"""Device of readings whose name has no part before the channel's."""
MAX_CHANNELS = 64
"""More names than a bench has; beyond it they are refused, so that made-up names fill no memory."""
SEEN = 256
"""Messages without times of which a repeat is recognised by its bytes."""


class SenmlIn:
    """The SenML side of a bench on a broker.

    Attributes:
        discarded: Messages that could not be read, and readings that were refused.
        passed_over: Records without a number.
        trouble: What was wrong with the last one; empty once one is well.
        changed: Whether the channels are others than when they were last asked for.
    """

    def __init__(
        self, names: Mapping[str, str], claims: Claims, unread: Callable[[Packet, str], None] = nobody
    ) -> None:
        """Begin without channels.

        Args:
            names: Channel names within the bench, by names on the device (whole ones, or their last part).
            claims: Messages that the broker has not been told of yet.
            unread: Given each message that cannot be read, with the reason.
        """
        self.discarded = 0
        self.passed_over = 0
        self.trouble = ""
        self.changed = False
        self._names = names
        self._claims = claims
        self._unread = unread
        self._channels: dict[str, DeviceChannel] = {}
        self._paces: dict[str, Pace] = {}
        self._devices: dict[str, str] = {}
        self._seen: deque[bytes] = deque(maxlen=SEEN)

    def take(self, packet: Packet) -> list[Unnumbered]:
        """Take in a message and return its readings; it is acknowledged when they are on disk, or if it has none."""
        ticket = self._claims.ticket(packet.number)
        found: dict[tuple[str, str], list[tuple[int, float, int]]] = {}
        if not packet.retained and not self._is_repeat(packet):
            for reading in self._readings(packet):
                self._sort(reading, packet.arrived_ns, found)
        if packet.retained:
            self.discarded += 1
        if not found:
            ticket.committed(0, {})
        out = []
        for (device, channel), rows in found.items():
            rows.sort(key=lambda row: row[0])
            t_ns, raw, flags = zip(*rows, strict=True)
            out.append(
                Unnumbered(
                    device,
                    channel,
                    np.array(t_ns, dtype=np.int64),
                    np.array(raw, dtype=np.float64),
                    np.array(flags, dtype=np.uint8),
                    ticket,
                )
            )
        return out

    def greeting(self, device: Greeting | None) -> Greeting | None:
        """Return the greeting of a bench, its SenML channels added to those of a device with frames."""
        self.changed = False
        if not self._channels:
            return device
        channels = [replace(one, period_s=self._paces[one.name].told_s) for one in self._channels.values()]
        if device is None:
            name = next(iter(self._devices.values()))
            return Greeting(name, 0, "SenML", tuple(channels), min(one.period_s for one in channels), 0.0)
        own = {channel.name for channel in device.channels}
        return replace(device, channels=(*device.channels, *(one for one in channels if one.name not in own)))

    def _readings(self, packet: Packet) -> tuple[Reading, ...]:
        try:
            pack = read_senml(packet.payload, packet.content)
        except SenmlError as error:
            self.discarded += 1
            words = f"a message on {packet.topic} is not taken: {error}"
            LOG.log(logging.DEBUG if words == self.trouble else logging.WARNING, "%s", words)
            self.trouble = words
            self._unread(packet, str(error))
            return ()
        self.trouble = ""
        self.passed_over += pack.passed_over
        if any(reading.relative for reading in pack.readings):
            self._seen.append(hashlib.sha256(packet.payload).digest())
        return pack.readings

    def _is_repeat(self, packet: Packet) -> bool:
        """Return whether a message that the broker gives again was taken in already, though its times do not tell."""
        return packet.again and hashlib.sha256(packet.payload).digest() in self._seen

    def _sort(
        self, reading: Reading, arrived_ns: int, found: dict[tuple[str, str], list[tuple[int, float, int]]]
    ) -> None:
        device, name = self._split(reading.name)
        unit = conversion(reading.unit)
        if name not in self._channels:
            if len(self._channels) >= MAX_CHANNELS:
                self.discarded += 1
                return
            self._channels[name] = DeviceChannel(name, unit.unit, 1.0, 1.0, 0, calibrated=bool(reading.unit))
            self._paces[name] = Pace()
            self.changed = True
        self._devices[name] = device
        t_ns = round(reading.t_s * 1e9) + (arrived_ns if reading.relative else 0)
        if self._paces[name].note(t_ns):
            self.changed = True
        flags = FLAG_ARRIVAL_STAMPED if reading.relative else 0
        found.setdefault((device, self._names.get(name, name)), []).append((t_ns, unit.apply(reading.value), flags))

    def _split(self, name: str) -> tuple[str, str]:
        """Return what names the device, and the name of the channel on it.

        A bench file may name a channel by its whole name; otherwise the last part counts.
        """
        cut = max(name.rfind("/"), name.rfind(":"))
        head, tail = name[: cut + 1].rstrip("/:"), name[cut + 1 :]
        if name in self._names or not tail:
            return head or DEVICE, name
        return head or DEVICE, tail
