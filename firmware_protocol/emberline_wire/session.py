"""The host's side of a link to one device: bytes and the time in, events and bytes out.

Order of a host's work: give received bytes to `receive`, store the readings and gaps that come out, call `committed`,
send `bytes_to_send`; call `tick` several times a second. Times are nanoseconds of a clock that does not step.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from emberline_wire.boot import Boot
from emberline_wire.budget import check_line
from emberline_wire.clock import DeviceClock
from emberline_wire.decoding import decode_body
from emberline_wire.device_messages import Hello, Pong, Samples, Status
from emberline_wire.errors import (
    FrameError,
    LineTooSlowError,
    MessageError,
    UnknownMessageError,
    UnsupportedVersionError,
)
from emberline_wire.events import Event, Greeted, Rebooted, Refused, SessionCounters, Standing, StatusCame
from emberline_wire.framing import FrameDecoder, encode_frame, seal, unseal
from emberline_wire.link_state import Cue, LinkState, after
from emberline_wire.messages import Ack, Identify, Message, Ping, SetRate, Start, Stop
from emberline_wire.outbox import Outbox

SECOND_NS = 1_000_000_000
ASK_AGAIN_NS = SECOND_NS
"""Time between requests for a hello."""
RESUME_AGAIN_NS = 3 * SECOND_NS // 2
"""Time before the same missing samples are asked for again: the answer to the last request must have had its chance."""
PING_EARLY_NS = SECOND_NS
PING_NS = 5 * SECOND_NS
EARLY_PINGS = 10
"""Pings go once a second at first, so that the clock's rate is known soon, then every five seconds."""
MAX_PINGS_OUT = 16
CLOCK_WAIT_NS = 3 * SECOND_NS
"""How long samples wait for the first pong; then arrival times must do for the offset."""


class Session:
    """One device on one link, across replugs and reboots.

    Attributes:
        state: Where the session stands.
        hello: The last hello accepted, None before the first.
        counters: What was discarded after framing.
        frames: The frame decoder, with its counters.

    """

    def __init__(self, *, device: str | None = None, standing: Standing | None = None, baud: int | None = None) -> None:
        """Start without a link.

        Args:
            device: The only device id to accept; None accepts whichever device says hello first, and then only that.
            standing: Where an earlier session with this device ended, from the store.
            baud: Bits a second of a serial line; a device that leaves no room on it for sending again is refused.

        Raises:
            BadStateError: The standing's clock cannot be restored.

        """
        self.state = LinkState.DOWN
        self.hello: Hello | None = None
        self.counters = SessionCounters()
        self.frames = FrameDecoder()
        self._baud = baud
        self._device = device or (standing.device if standing else None)
        self._boot: Boot | None = None
        if standing is not None and standing.device == self._device:
            clock = DeviceClock.from_state(standing.clock)
            self._boot = Boot(standing.device, standing.boot, self.counters, standing.wanted, clock)
        self._outbox = Outbox()
        self._asked: dict[int, tuple[int, int]] = {}
        self._pings_out: list[int] = []
        self._pings = 0
        self._ask_at_ns = self._ping_at_ns = self._clock_due_ns = 0
        self._why_refused = ""

    @property
    def clock(self) -> DeviceClock | None:
        """The clock of the current boot, None before the first hello."""
        return self._boot.clock if self._boot else None

    # The link

    def connected(self, now_ns: int) -> None:
        """Note that the link is open, and ask the device who it is."""
        self.frames.reset()
        self._forget_requests()
        self._why_refused = ""
        self._move(Cue.LINK_UP)
        self._ask(now_ns)

    def disconnected(self) -> None:
        """Note that the link is gone; what the device keeps is asked for on the next one."""
        self._forget_requests()
        self._move(Cue.LINK_DOWN)

    def receive(self, data: bytes, now_ns: int) -> list[Event]:
        """Take in bytes of a serial line that arrived at `now_ns` and return what came of them; raises nothing."""
        return [event for body in self.frames.feed(data) for event in self.take(decode_body(body), now_ns)]

    def open_packet(self, packet: bytes) -> list[Message | MessageError]:
        """Return what one sealed body holds, as MQTT carries it, for `take`; nothing, and counted, where it is none."""
        try:
            body = unseal(packet)
        except FrameError as exc:
            self.frames.counters.discard(exc, len(packet))
            return []
        self.frames.counters.frames += 1
        return decode_body(body)

    def take(self, found: Iterable[Message | MessageError], now_ns: int, waited_ns: int = 0) -> list[Event]:
        """Take in what a body was found to hold, and return what came of it; raises nothing.

        Args:
            found: As `decode_body` returns it.
            now_ns: When it arrived here.
            waited_ns: How long a broker is known to have held it before; never more than it truly did.

        """
        events = [event for one in found for event in self._on_found(one, now_ns, now_ns - waited_ns)]
        boot = self._boot
        if self.state is LinkState.STREAMING and boot is not None:
            self._ask_for_missing(boot, now_ns)
            events += self._flush(boot, now_ns)
        return events

    def recall(self, hello: Hello, now_ns: int) -> list[Event]:
        """Believe the hello of an earlier session, on a link that keeps messages while this host is away.

        What waits there of the standing's boot is then taken in without a new hello. Does nothing for any other boot,
        or unless the device is being asked who it is.
        """
        boot = self._boot
        if self.state is not LinkState.ASKING or boot is None or (hello.device, hello.boot) != (boot.device, boot.id):
            return []
        boot.set_table(hello.channels)
        self.hello = hello
        self._move(Cue.HELLO_ACCEPTED)
        self._begin(boot, now_ns)
        return [Greeted(hello)]

    def tick(self, now_ns: int) -> list[Event]:
        """Do what is due at `now_ns`: ask again, ping, stop waiting for the clock."""
        if self.state is LinkState.ASKING and now_ns >= self._ask_at_ns:
            self._ask(now_ns)
        if self.state is not LinkState.STREAMING or self._boot is None:
            return []
        if now_ns >= self._ping_at_ns:
            self._ping(now_ns)
        self._ask_for_missing(self._boot, now_ns)
        return self._flush(self._boot, now_ns)

    def bytes_to_send(self) -> bytes:
        """Return what is to be sent on a serial line, and regard it as sent."""
        return b"".join(encode_frame(message.to_bytes()) for message in self._outbox.take())

    def packets_to_send(self) -> list[bytes]:
        """Return what is to be sent as sealed bodies, one MQTT message each, and regard it as sent."""
        return [seal(message.to_bytes()) for message in self._outbox.take()]

    # What the host wants

    def committed(self, wanted: Mapping[int, int], boot: int) -> None:
        """Acknowledge that all samples of `boot` before those wanted, by stream number, are stored for good."""
        if self._boot is None or boot != self._boot.id:
            return
        for stream, seq in wanted.items():
            self._boot.committed[stream] = max(seq, self._boot.committed.get(stream, 0))
        self._acknowledge(self._boot)

    def standing(self, wanted: Mapping[int, int] | None = None) -> Standing | None:
        """Return what to store along with the samples, None before a device is known.

        Args:
            wanted: What the same transaction stores, by stream number; streams not named stand where `committed`
                left them.

        """
        if self._boot is None:
            return None
        stored = {**self._boot.committed, **(wanted or {})}
        return Standing(self._boot.device, self._boot.id, stored, self._boot.clock.state())

    def start(self) -> None:
        """Have the device sample again after `stop`."""
        if self._boot is not None:
            self._outbox.put(Start(self._boot.id))

    def stop(self) -> None:
        """Have the device take no more samples."""
        if self._boot is not None:
            self._outbox.put(Stop(self._boot.id))

    def set_rate(self, stream: int, period_us: int) -> None:
        """Have the device sample a stream every `period_us`; a `Greeted` event tells what it made of that.

        Raises:
            WrongFieldError: A value is out of bounds.

        """
        if self._boot is not None:
            self._outbox.put(SetRate(self._boot.id, stream, period_us), stream)

    # Messages

    def _on_found(self, message: Message | MessageError, now_ns: int, arrived_ns: int) -> list[Event]:
        if isinstance(message, MessageError):
            return self._on_error(message)
        if isinstance(message, Hello):
            return self._on_hello(message, now_ns, arrived_ns)
        if not isinstance(message, Samples | Status | Pong):
            self.counters.misdirected += 1
            return []
        if self.state is LinkState.STREAMING and self._boot is not None and message.boot == self._boot.id:
            return self._on_confirmed(self._boot, message, now_ns, arrived_ns)
        self.counters.unconfirmed += 1
        if self.state is LinkState.STREAMING:
            self._move(Cue.OTHER_BOOT)
            self._ask(now_ns)
        return []

    def _on_error(self, error: MessageError) -> list[Event]:
        if isinstance(error, UnsupportedVersionError):
            return self._refuse(str(error))
        if isinstance(error, UnknownMessageError):
            self.counters.unknown += 1
        else:
            self.counters.malformed += 1
        return []

    def _on_confirmed(self, boot: Boot, message: Samples | Status | Pong, now_ns: int, arrived_ns: int) -> list[Event]:
        if isinstance(message, Samples):
            boot.take(message, arrived_ns)
            if boot.stores(message):
                self._acknowledge(boot)
        elif isinstance(message, Status):
            boot.clock.arrival(message.ticks, arrived_ns)
            return [StatusCame(message)]
        elif message.time_ns in self._pings_out:
            self._pings_out.remove(message.time_ns)
            boot.clock.pong(message.ticks, message.time_ns, now_ns)
        else:
            self.counters.stray_pongs += 1
        return []

    def _on_hello(self, hello: Hello, now_ns: int, arrived_ns: int) -> list[Event]:
        if self.state is LinkState.DOWN:
            self.counters.unconfirmed += 1
            return []
        if self._device is not None and hello.device != self._device:
            return self._refuse(
                f"the device on this link is {hello.device}, not {self._device}: connect the right one, "
                "or name this one in the bench file"
            )
        try:
            if self._baud is not None:
                check_line(hello, self._baud)
        except LineTooSlowError as exc:
            return self._refuse(str(exc))
        known = self.hello is not None and replace(self.hello, ticks=hello.ticks) == hello
        news = not known or self.state is not LinkState.STREAMING
        boot, events = self._boot, list[Event]()
        if boot is None or boot.id != hello.boot:
            if boot is not None:
                events += [*boot.finish(now_ns), Rebooted(boot.id, hello.boot, boot.ended())]
                self._forget_requests()
            boot = Boot(hello.device, hello.boot, self.counters, None if boot is None else {}, DeviceClock())
        boot.set_table(hello.channels)
        boot.clock.arrival(hello.ticks, arrived_ns)
        self._device, self.hello, self._boot = hello.device, hello, boot
        self._move(Cue.HELLO_ACCEPTED)
        if news:
            self._begin(boot, now_ns)
            events.append(Greeted(hello))
        return events

    def _begin(self, boot: Boot, now_ns: int) -> None:
        """Compare clocks first, so that the samples asked for next can be given their times."""
        self._clock_due_ns = now_ns + CLOCK_WAIT_NS
        self._pings = 0
        self._ping(now_ns)
        self._acknowledge(boot)
        self._resume(boot, boot.wanted(), now_ns)

    def _refuse(self, why: str) -> list[Event]:
        self._move(Cue.HELLO_REFUSED)
        if self.state is not LinkState.REFUSED or why == self._why_refused:
            return []
        self._why_refused = why
        return [Refused(why)]

    def _flush(self, boot: Boot, now_ns: int) -> list[Event]:
        return list(boot.flush(wait=now_ns < self._clock_due_ns))

    # Requests

    def _move(self, cue: Cue) -> None:
        self.state = after(self.state, cue)

    def _forget_requests(self) -> None:
        self._outbox.clear()
        self._asked.clear()
        self._pings_out.clear()

    def _ask(self, now_ns: int) -> None:
        self._ask_at_ns = now_ns + ASK_AGAIN_NS
        self._outbox.put(Identify())

    def _ping(self, now_ns: int) -> None:
        self._pings += 1
        self._ping_at_ns = now_ns + (PING_EARLY_NS if self._pings <= EARLY_PINGS else PING_NS)
        if not self._outbox.holds(Ping):
            self._pings_out.append(now_ns)
            del self._pings_out[:-MAX_PINGS_OUT]
            self._outbox.put(Ping(now_ns))

    def _acknowledge(self, boot: Boot) -> None:
        if boot.committed:
            self._outbox.put(Ack(boot.id, dict(boot.committed)))

    def _ask_for_missing(self, boot: Boot, now_ns: int) -> None:
        due = {}
        for stream, wanted in boot.missing().items():
            asked, at_ns = self._asked.get(stream, (-1, 0))
            if asked != wanted or now_ns - at_ns >= RESUME_AGAIN_NS:
                due[stream] = wanted
        self._resume(boot, due, now_ns)

    def _resume(self, boot: Boot, wanted: Mapping[int, int], now_ns: int) -> None:
        for stream, seq in wanted.items():
            self._asked[stream] = (seq, now_ns)
        if wanted:
            self._outbox.put_resume(boot.id, wanted)
