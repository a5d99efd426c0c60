"""The virtual microcontroller: readings and the host's bytes in, frames out; the time is an argument."""

from collections.abc import Iterable, Iterator, Sequence

from emberline_sim.device.converters import Block, Converter
from emberline_sim.device.life import DeviceSpec, Life
from emberline_sim.device.sources import Sources
from emberline_wire import (
    Ack,
    DeviceFlag,
    FrameError,
    Hello,
    Identify,
    Message,
    MessageError,
    Ping,
    Pong,
    Resume,
    Samples,
    SetRate,
    Start,
    Status,
    Stop,
    decode_message,
    encode_frame,
    seal,
    unseal,
)
from emberline_wire.limits import MAX_BODY_BYTES, U32_MAX

STATUS_EVERY_S = 10.0
RESEND_AFTER_S = 3.0
"""Time without an acknowledgement after which the device sends again of its own accord; several commits long."""
HOST_GONE_AFTER_S = 15.0
"""Time without a word from the host after which sending again is pointless; the host pings every five seconds."""


class Microcontroller:
    """A device as the protocol describes it, on a clock of its own."""

    def __init__(
        self, spec: DeviceSpec, converters: Sequence[Converter], blocks: Iterable[Block], boots: Iterable[int]
    ) -> None:
        """Power the device up at 0 s.

        Args:
            spec: What it is like.
            converters: Its channels, in the order of its table.
            blocks: Its readings, ordered by the time of each block's first.
            boots: Boot ids, no two alike; as many as it will need.

        """
        self._spec = spec
        self._sources = Sources(converters, blocks)
        self._boot_ids = iter(boots)
        self._past: list[Life] = []
        self._now_s = 0.0
        self._life = Life(spec, next(self._boot_ids), self._sources, 0.0, 0.0, spec.ticks_at_start)
        self._greet()

    @property
    def boot(self) -> int:
        """Current boot id."""
        return self._life.boot

    @property
    def exhausted(self) -> bool:
        """Whether no reading is to come any more."""
        return self._sources.exhausted

    @property
    def waiting(self) -> int:
        """Samples kept that the host has not acknowledged."""
        return self._life.waiting

    def advance(self, now_s: float) -> None:
        """Let the true time become `now_s`: take the readings until then, and see what is due to be sent."""
        self._now_s = now_s
        life = self._life
        self._sources.pull(now_s)
        for source, ring in zip(self._sources.by_name.values(), life.rings.values(), strict=True):
            for t_s, raw, fault in source.read(now_s, life.up_s, sampling=life.sampling):
                ring.put(life.ticks(t_s), raw, fault)
        if now_s < life.up_s:
            return
        if now_s >= life.frame_due_s:
            period_s = self._spec.frame_period_s
            life.frame_due_s = now_s - (now_s - life.up_s) % period_s + period_s
            self.finish()
        if now_s >= life.status_due_s:
            life.status_due_s = now_s + STATUS_EVERY_S
            life.reply(self._status())
        for ring in life.rings.values():
            if ring.is_overdue(now_s, RESEND_AFTER_S) and now_s - life.heard_s < HOST_GONE_AFTER_S:
                ring.rewind(ring.acknowledged, now_s)

    def finish(self) -> None:
        """Make the last readings due to be sent, however few they are."""
        for ring in self._life.rings.values():
            ring.ready = ring.taken

    def reboot(self, now_s: float) -> None:
        """Restart: all that is kept is lost, a new boot id, numbers and ticks from zero."""
        self._past.append(self._life)
        self._life = Life(self._spec, next(self._boot_ids), self._sources, now_s, now_s + self._spec.boot_s, 0)
        self._greet()

    def receive(self, data: bytes, now_s: float) -> None:
        """Take in bytes from the host; what is no valid command is counted and ignored."""
        self._now_s = now_s
        if now_s >= self._life.up_s:
            for body in self._life.decoder.feed(data):
                self._hear(body, now_s)

    def receive_packet(self, packet: bytes, now_s: float) -> None:
        """Take in one sealed body, as MQTT carries it; otherwise as `receive`."""
        self._now_s = now_s
        if now_s < self._life.up_s:
            return
        try:
            body = unseal(packet)
        except FrameError:
            self._life.malformed += 1
        else:
            self._hear(body, now_s)

    def connected(self, now_s: float) -> None:
        """Greet a broker just connected to, and send everything that is not acknowledged: some of it may be lost."""
        self._now_s = now_s
        if not any(isinstance(reply, Hello) for reply in self._life.replies):
            self._life.replies.clear()
            self._greet()
        for ring in self._life.rings.values():
            ring.rewind(ring.acknowledged, now_s)

    def next_frame(self) -> bytes:
        """Return the next frame to be sent on a serial line, or nothing: one message, so that damage costs little."""
        for message in self._due_messages():
            self._sent(message)
            return encode_frame(message.to_bytes())
        return b""

    def next_packet(self) -> bytes:
        """Return the next sealed body to be sent as an MQTT message, or nothing: as many messages as fit."""
        body = b""
        for message in self._due_messages():
            more, alone = message.to_bytes(), isinstance(message, Hello)
            if body and (alone or len(body) + len(more) > MAX_BODY_BYTES):
                break
            self._sent(message)
            body += more
            if alone:
                break
        return seal(body) if body else b""

    def hello_packet(self) -> bytes:
        """Return the hello as a sealed body, to be kept by a broker for those who look for benches."""
        return seal(self._hello().to_bytes())

    def tally(self) -> dict[str, object]:
        """Return what the device did, as plain data: by boot and stream, what was taken, sent, sent again and lost."""
        return {"device": self._spec.device, "boots": [life.tally() for life in [*self._past, self._life]]}

    def _due_messages(self) -> Iterator[Message]:
        """Yield the messages to be sent, in their order, one of each stream; each stays due until `_sent` takes it."""
        life = self._life
        if self._now_s < life.up_s:
            return
        yield from tuple(life.replies)
        # The oldest first: after a break a host that follows the burn would else see one stream long before the others.
        due = [(ticks, ring) for ring in life.rings.values() if (ticks := ring.next_ticks) is not None]
        for _, ring in sorted(due, key=lambda one: one[0]):
            message = ring.next_message(life.boot)
            if message is not None:
                yield message

    def _sent(self, message: Message) -> None:
        """Take note that a message is under way."""
        life = self._life
        if isinstance(message, Samples):
            next(ring for ring in life.rings.values() if ring.stream == message.stream).sent(message)
        else:
            life.replies.remove(message)

    def _hear(self, body: bytes, now_s: float) -> None:
        try:
            message = decode_message(body)
        except MessageError:
            self._life.malformed += 1
            return
        self._life.heard_s = now_s
        self._obey(message, now_s)

    def _obey(self, message: Message, now_s: float) -> None:
        life = self._life
        match message:
            case Ping():
                life.reply(Pong(life.boot, message.time_ns, life.ticks(now_s) & U32_MAX))
            case Identify():
                self._greet()
            case Ack() if message.boot == life.boot:
                for ring, wanted in life.named(message.wanted):
                    ring.acknowledge(wanted, now_s)
            case Resume() if message.boot == life.boot:
                for ring, wanted in life.named(message.wanted):
                    ring.rewind(wanted, now_s)
            case SetRate() if message.boot == life.boot:
                for source in self._sources.by_name.values():
                    if source.channel.id == message.stream:
                        source.set_period(message.period_us)
                self._greet()
            case Start() | Stop() if message.boot == life.boot:
                life.sampling = isinstance(message, Start)
                life.reply(self._status())

    def _greet(self) -> None:
        self._life.reply(self._hello())

    def _hello(self) -> Hello:
        return Hello(
            boot=self._life.boot,
            device=self._spec.device,
            firmware=self._spec.firmware,
            channels=tuple(source.channel for source in self._sources.by_name.values()),
            ticks=self._life.ticks(max(self._now_s, self._life.start_s)) & U32_MAX,
            frame_period_ms=round(self._spec.frame_period_s * 1000),
            ring_ms=round(self._spec.ring_s * 1000),
        )

    def _status(self) -> Status:
        life = self._life
        lost = sum(ring.overwritten for ring in life.rings.values())
        return Status(
            boot=life.boot,
            ticks=life.ticks(self._now_s) & U32_MAX,
            flags=(DeviceFlag.SAMPLING if life.sampling else DeviceFlag(0))
            | (DeviceFlag.OVERRAN if lost else DeviceFlag(0)),
            rejected=life.decoder.counters.discarded + life.malformed,
            lost=lost,
            waiting=life.waiting,
        )
