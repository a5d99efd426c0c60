"""The device's side of the protocol: readings and a host's messages in, sealed bodies out; the time is an argument."""

from ring import Ring
from wire_messages import (
    MAX_BODY_BYTES,
    OVERRAN,
    SAMPLING,
    U32_MAX,
    WireError,
    channel,
    hello,
    pong,
    read_command,
    seal,
    status,
    unseal,
)

STATUS_EVERY_US = 10_000_000
RESEND_AFTER_US = 3_000_000
HOST_GONE_AFTER_US = 15_000_000
MAX_RING_MS = 3_600_000
MAX_REPLIES = 8
"""Answers that may wait to be sent; a host that asks for more goes without."""


class Channel:
    """One measured quantity: an entry of the channel table, and the ring of its samples.

    Args:
        stream: Its number.
        name: Its name on the device.
        kind: What its raw values are.
        scale: Physical value = (raw - zero) x scale.
        bits: 16 or 32, what a raw value takes.
        step_us: Time between conversions; samples come in a whole number of these.
        period_us: Time between samples.
        ring_s: For how long they are kept at that pace.
        zero: Raw value of a physical 0.
        serves: For a cold junction, the stream of its thermocouple.

    """

    def __init__(
        self,
        stream: int,
        name: str,
        kind: int,
        scale: float,
        bits: int,
        step_us: int,
        period_us: int,
        ring_s: int,
        zero: int = 0,
        serves: int | None = None,
    ):
        self.stream = stream
        self.period_us = period_us
        self.capacity = ring_s * 1_000_000 // period_us + 1
        self.ring = Ring(stream, bits, self.capacity)
        self.stop = 0
        """Sequence number at which sending stops until the next frame is due."""
        self._entry = (name, kind, scale, zero, serves)
        self._step_us = step_us
        self._due_us = 0

    @property
    def ring_ms(self) -> int:
        """For how long samples are kept at the present pace."""
        return min((self.capacity - 1) * self.period_us // 1000, MAX_RING_MS)

    def entry(self) -> dict:
        """Return the channel's entry in the table."""
        name, kind, scale, zero, serves = self._entry
        return channel(self.stream, name, kind, self.period_us, scale, zero, serves)

    def set_period(self, wanted_us: int) -> None:
        """Sample as nearly every `wanted_us` as conversions come."""
        self.period_us = self._step_us * max(1, (wanted_us + self._step_us // 2) // self._step_us)
        self._due_us = 0

    def is_due(self, now_us: int) -> bool:
        """Say whether a conversion that is ready now makes a sample, and if so take it for one."""
        if now_us < self._due_us:
            return False
        self._due_us = now_us + self.period_us - self._step_us // 2
        return True


class Device:
    """The rings of one boot, and what the protocol asks of them.

    Args:
        name: The device's id, the same for ever.
        firmware: Version of the firmware.
        boot: Boot id, never used before.
        channels: Its channels.
        frame_period_us: How often what was sampled goes out.
        lock: Held while rings change; readings come from another thread than messages.
        flags: Flags of this boot's status messages, such as `BROWN_OUT`.

    """

    def __init__(
        self, name: str, firmware: str, boot: int, channels: list, frame_period_us: int, lock: object, flags: int = 0
    ):
        self.boot = boot
        self.channels = channels
        self.rejected = 0
        self._name = name
        self._firmware = firmware
        self._frame_period_us = frame_period_us
        self._lock = lock
        self._flags = flags
        self._sampling = True
        self._replies = []
        self._heard_us = -HOST_GONE_AFTER_US
        self._frame_due_us = self._status_due_us = 0

    def put(self, channel: Channel, us: int, raw: int, faults: int) -> None:
        """Take a reading, unless the host has stopped it or its time has not come."""
        if self._sampling and channel.is_due(us):
            with self._lock:
                channel.ring.put(us & U32_MAX, raw, faults)

    def hello(self, us: int) -> bytes:
        """Return a hello, sealed."""
        entries = [one.entry() for one in self.channels]
        kept_ms = min([one.ring_ms for one in self.channels])
        frame_ms = self._frame_period_us // 1000
        return seal(hello(self.boot, self._name, self._firmware, entries, us & U32_MAX, frame_ms, kept_ms))

    def connected(self, us: int) -> None:
        """Send everything again that is not acknowledged: what was under way may be lost."""
        self._replies = []
        with self._lock:
            for one in self.channels:
                one.ring.rewind(one.ring.acknowledged, us)

    def hear(self, packet: bytes, us: int) -> None:
        """Obey a message of the host; what is none is counted and ignored."""
        try:
            name, fields = read_command(unseal(packet))
        except WireError:
            self.rejected += 1
            return
        self._heard_us = us
        if fields.get("boot", self.boot) == self.boot:
            self._obey(name, fields, us)

    def next_packet(self, us: int) -> bytes | None:
        """Return the next frame to be sent, or None if nothing is due: an answer, or samples of as many streams as fit.

        The oldest samples come first, whichever their stream.
        """
        self._see_what_is_due(us)
        if self._replies:
            return self._replies.pop(0)
        body = b""
        with self._lock:
            due = [one for one in self.channels if one.ring.cursor < one.stop]
            for one in sorted(due, key=lambda one: (one.ring.next_ticks - us) & U32_MAX):
                message = one.ring.message(self.boot, one.stop, MAX_BODY_BYTES - len(body))
                if not message:
                    break
                body += message
        return seal(body) if body else None

    def _see_what_is_due(self, us: int) -> None:
        if us >= self._frame_due_us:
            self._frame_due_us = us - us % self._frame_period_us + self._frame_period_us
            for one in self.channels:
                one.stop = one.ring.taken
        if us >= self._status_due_us:
            self._status_due_us = us + STATUS_EVERY_US
            self._reply(self._status(us))
        heard = us - self._heard_us < HOST_GONE_AFTER_US
        for one in self.channels:
            if one.ring.is_overdue(us, RESEND_AFTER_US) and heard:
                with self._lock:
                    one.ring.rewind(one.ring.acknowledged, us)

    def _obey(self, name: str, fields: dict, us: int) -> None:
        if name == "Ping":
            self._reply(seal(pong(self.boot, fields["time_ns"], us & U32_MAX)))
        elif name == "Identify":
            self._reply(self.hello(us))
        elif name in ("Start", "Stop"):
            self._sampling = name == "Start"
            self._reply(self._status(us))
        elif name == "SetRate":
            for one in self.channels:
                if one.stream == fields["stream"]:
                    one.set_period(fields["period_us"])
            self._reply(self.hello(us))
        else:
            with self._lock:
                for one in self.channels:
                    if one.stream in fields["wanted"]:
                        wanted = fields["wanted"][one.stream]
                        if name == "Ack":
                            one.ring.acknowledge(wanted, us)
                        else:
                            one.ring.rewind(wanted, us)

    def _reply(self, packet: bytes) -> None:
        if len(self._replies) < MAX_REPLIES:
            self._replies.append(packet)

    def _status(self, us: int) -> bytes:
        lost = sum([one.ring.overwritten for one in self.channels])
        flags = self._flags | (SAMPLING if self._sampling else 0) | (OVERRAN if lost else 0)
        waiting = sum([one.ring.waiting for one in self.channels])
        return seal(status(self.boot, us & U32_MAX, flags, self.rejected, lost, waiting))
