"""Listening to a port of which nothing is known: who speaks there, how fast, in frames or in lines of text.

Nothing is sent to a board that speaks by itself, unless in frames: a sketch might take any byte for a command.
"""

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

import numpy as np

from emberline.curves.checkup.signal import Fault, Nature, Signal
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.line_columns import LinesHeard
from emberline.links.line_splitter import LineSplitter
from emberline.links.serial_io import PORT_ERRORS, opened_port
from emberline.links.text_line import Remark, Values, read_text_line
from emberline_wire import Channel, FrameDecoder, Hello, Kind, LinkState, Readings, Refused, Session
from emberline_wire import Fault as FaultBit

BAUDS = (57_600, 115_200, 9_600, 38_400, 19_200, 230_400, 250_000, 500_000, 1_000_000, 4_800, 2_400, 1_200)
"""Speeds in the order in which they are tried; the first is that of boards with frames."""
SILENT_S = 4.0
"""How long a board may take to start and to say something."""
ANSWER_S = 3.0
TRIAL_S, SLOW_S = 6.0, 20.0
"""How long a speed is tried; the longer one where lines of values come, but seldom."""
GARBAGE_BYTES, GARBAGE_S = 60, 1.5
"""So much that is neither line nor frame, or for so long: another speed is tried."""
ENOUGH_LINES = 3
READ_LIMIT_S = 0.1
MOST_LINES = 20_000

_FAULTS = {
    FaultBit.OPEN: Fault.OPEN,
    FaultBit.SHORT_LOW: Fault.SHORT_LOW,
    FaultBit.SHORT_HIGH: Fault.SHORT_HIGH,
    FaultBit.SATURATED: Fault.SATURATED,
    FaultBit.NO_ANSWER: Fault.NO_ANSWER,
    FaultBit.COLD_JUNCTION: Fault.COLD_JUNCTION,
}
_NATURES = {
    Kind.BRIDGE_COUNTS: Nature.BRIDGE,
    Kind.THERMOCOUPLE_LINEARISED: Nature.THERMOCOUPLE,
    Kind.THERMOCOUPLE_FLAT: Nature.THERMOCOUPLE,
}


class SilentError(LinkError):
    """Nothing comes from the port."""


class NotUnderstoodError(LinkError):
    """Something comes from the port, and nobody can say what."""


@dataclass
class _Ear:
    """What has been heard at one speed."""

    frames: FrameDecoder = field(default_factory=FrameDecoder)
    splitter: LineSplitter = field(default_factory=lambda: LineSplitter(begun=False))
    values: list[tuple[Values, float]] = field(default_factory=list)
    header: tuple[str, ...] = ()
    set_aside: int = 0
    example: bytes = b""
    size: int = 0

    def hear(self, data: bytes, at_s: float) -> None:
        self.size += len(data)
        self.frames.feed(data)
        for line, _ in self.splitter.feed(data):
            found = read_text_line(line)
            if isinstance(found, Values):
                self.values.append((found, at_s))
                del self.values[:-MOST_LINES]
            elif isinstance(found, Remark):
                self.header = found.names or self.header
            else:
                self.set_aside += 1
                self.example = line

    @property
    def lines_speak(self) -> bool:
        """Whether most of what came are lines of values of one shape."""
        shapes = {values.columns for values, _ in self.values}
        return len(self.values) >= ENOUGH_LINES + len(shapes) - 1 and len(self.values) > 3 * self.set_aside


class Listener:
    """An open port, listened to.

    Attributes:
        path: The port.
        baud: Bits a second at which the board was understood.
        hello: What a board with frames said of itself; None for lines of text.
        tried: Speeds at which something came that nobody understood.
    """

    def __init__(self, path: str) -> None:
        """Open the port for this program alone.

        Raises:
            LinkError: It cannot be opened; the message says what to do.
        """
        self.path = path
        self.baud = BAUDS[0]
        self.hello: Hello | None = None
        self.tried: list[int] = []
        self._port = opened_port(path, BAUDS[0])
        self._port.timeout = READ_LIMIT_S
        self._ear = _Ear()
        self._session: Session | None = None
        self._readings: dict[int, list[Readings]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        with suppress(*PORT_ERRORS):
            self._port.reset_output_buffer()
        with suppress(*PORT_ERRORS):
            self._port.close()

    def find_speech(self, bauds: Sequence[int] = BAUDS, told: Callable[[str], None] = lambda _: None) -> None:
        """Find out how the board speaks.

        Args:
            bauds: Speeds to try, in order.
            told: Called with what is being tried.

        Raises:
            SilentError: Nothing comes at all.
            NotUnderstoodError: What comes makes no sense at any of the speeds.
            LinkError: The device asks to be refused, or is gone.
        """
        for baud in bauds:
            told(f"listening at {baud:,} baud")
            self.baud = baud
            self._port.baudrate = baud
            self._ear = _Ear()
            if self._is_understood():
                return
            if self._ear.size:
                self.tried.append(baud)
            elif baud != bauds[0]:
                # A wrong speed makes garbage, not silence: a second one is tried to be sure, and no more.
                break
        if not self.tried:
            raise SilentError(
                f"nothing comes from {self.path}: does the board have power, does its sketch run, and does it print to "
                "this port?"
            )
        speeds = ", ".join(f"{baud:,}" for baud in self.tried)
        raise NotUnderstoodError(
            f"what comes from {self.path} is neither frames nor lines of values at {speeds} baud: look up the speed in "
            "the sketch and name it with --baud; see that each line has all values, parted by commas"
        )

    def hear(self, seconds: float, told: Callable[[float], None] = lambda _: None) -> None:
        """Listen for so long; `told` is called with how much of it is left.

        Raises:
            LinkLostError: The device is gone.
        """
        stop_s = time.monotonic() + seconds
        while (left_s := stop_s - time.monotonic()) > 0.0:
            told(left_s)
            self._step()

    def forget(self) -> None:
        """Forget the readings so far, not who speaks."""
        self._readings.clear()
        self._ear.values.clear()
        self._ear.set_aside = 0

    def lines(self) -> LinesHeard | None:
        """Return the lines that were heard; None where the board speaks in frames."""
        if self._session is not None:
            return None
        ear = self._ear
        return LinesHeard(tuple(ear.values), ear.header, ear.set_aside, ear.example)

    def signals(self) -> dict[str, Signal]:
        """Return what came in frames, by the channel's name on the device."""
        channels = {} if self.hello is None else {channel.id: channel for channel in self.hello.channels}
        cold_c = {}
        for channel in channels.values():
            if channel.kind is Kind.COLD_JUNCTION and channel.serves is not None and channel.id in self._readings:
                value = np.concatenate([one.raw for one in self._readings[channel.id]])
                cold_c[channel.serves] = float(np.median((value - channel.zero) * channel.scale))
        return {
            channel.name: _signal(channel, self._readings.get(channel.id, []), cold_c.get(channel.id))
            for channel in channels.values()
            if channel.kind is not Kind.COLD_JUNCTION
        }

    def _is_understood(self) -> bool:
        began_s = time.monotonic()
        while (gone_s := time.monotonic() - began_s) < (SLOW_S if self._ear.values else TRIAL_S):
            self._step()
            ear = self._ear
            if ear.frames.counters.frames or (not ear.size and gone_s > SILENT_S):
                return self._is_answered()
            if ear.lines_speak:
                return True
            if ear.size >= GARBAGE_BYTES and gone_s > GARBAGE_S and not ear.values:
                return False
        return self._ear.lines_speak

    def _is_answered(self) -> bool:
        """Ask who is there, in frames."""
        self._session = Session()
        self._session.connected(time.monotonic_ns())
        stop_s = time.monotonic() + ANSWER_S
        while time.monotonic() < stop_s:
            self._step()
            if self._session.state is LinkState.STREAMING:
                self.hello = self._session.hello
                return True
            if self._ear.lines_speak:
                break
        self._session = None
        return self._ear.lines_speak

    def _step(self) -> None:
        try:
            data = self._port.read(max(1, self._port.in_waiting))
            now_ns = time.monotonic_ns()
            if data:
                self._ear.hear(data, now_ns * 1e-9)
            if self._session is not None:
                for event in [*self._session.receive(data, now_ns), *self._session.tick(now_ns)]:
                    if isinstance(event, Readings):
                        self._readings.setdefault(event.channel.id, []).append(event)
                    elif isinstance(event, Refused):
                        raise LinkError(event.why)
                self._port.write(self._session.bytes_to_send())
        except PORT_ERRORS as error:
            raise LinkLostError(f"{self.path}: the device is gone; is it plugged in?") from error


def _signal(channel: Channel, readings: Sequence[Readings], cold_c: float | None) -> Signal:
    t_s = np.concatenate([one.t_ns for one in readings]) * 1e-9 if readings else np.zeros(0)
    raw = np.concatenate([one.raw for one in readings]) if readings else np.zeros(0)
    bits = np.concatenate([one.faults for one in readings]) if readings else np.zeros(0, dtype=np.uint8)
    return Signal(
        channel.name,
        _NATURES.get(channel.kind, Nature.OTHER),
        t_s,
        np.where(bits != 0, np.nan, raw),
        channel.scale,
        float(channel.zero),
        channel.kind.unit,
        True,
        {fault: int(np.count_nonzero(bits & int(bit))) for bit, fault in _FAULTS.items()},
        cold_c,
    )
