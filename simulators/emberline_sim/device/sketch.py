"""A board with a sketch of somebody's own: it prints a line of values now and then, and listens to nobody."""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from emberline_sim.device.converters import Block, Converter
from emberline_sim.device.sources import Sources
from emberline_wire import Kind
from emberline_wire.limits import U32_MAX

QUEUE = 64
"""Lines that fit into what the board sends from; when they do not drain, the newest take the place of the oldest."""


class Style(StrEnum):
    """How a line is written."""

    COLUMNS = "columns"
    """`123456,23.50,1042.7`: milliseconds since power-up, then the channels; a header at power-up."""
    LABELS = "labels"
    """`water=23.50 mass=1042.7`, without a time."""


@dataclass(frozen=True, slots=True)
class SketchSpec:
    """What a sketch is like.

    Attributes:
        style: How it writes a line.
        every_s: Time between two lines.
        drift_ppm: How much the board's clock runs fast.
        millis_at_start: Its counter at the first power-up; a reset sets it to 0.
        boot_s: Time from a reset to the first line.

    """

    style: Style = Style.COLUMNS
    every_s: float = 0.5
    drift_ppm: float = 0.0
    millis_at_start: int = 0
    boot_s: float = 0.4


class Sketch:
    """The board on its line; temperatures come in degrees, masses in grams, as its sketch works them out.

    Attributes:
        printed: Lines of values that were printed.
        sent: Those of them that were handed to the line.

    """

    def __init__(self, spec: SketchSpec, converters: Sequence[Converter], blocks: Iterable[Block]) -> None:
        """Power the board up at 0 s; the arguments are those of the microcontroller."""
        self.printed = 0
        self.sent = 0
        self._spec = spec
        self._start_s = self._due_s = 0.0
        self._sources = Sources(converters, blocks)
        self._newest: dict[str, str] = {}
        self._queue: deque[tuple[bytes, bool]] = deque(maxlen=QUEUE)
        self._begin(0.0, spec.millis_at_start)

    @property
    def exhausted(self) -> bool:
        """Whether no reading is to come any more."""
        return self._sources.exhausted

    @property
    def waiting(self) -> int:
        """Lines that are not yet handed to the line."""
        return len(self._queue)

    def advance(self, now_s: float) -> None:
        """Let the true time become `now_s`: print what is due until then."""
        while self._due_s <= now_s:
            at_s, self._due_s = self._due_s, self._due_s + self._spec.every_s
            self._sources.pull(at_s)
            for name, source in self._sources.by_name.items():
                if source.channel.kind is not Kind.COLD_JUNCTION:
                    for _, raw, fault in source.read(at_s, self._start_s, sampling=True):
                        self._newest[name] = "nan" if fault else self._written(name, raw)
                else:
                    deque(source.read(at_s, self._start_s, sampling=False), maxlen=0)
            if not self._sources.exhausted:
                self._print(at_s)

    def reboot(self, now_s: float) -> None:
        """Restart: what was not sent is gone, and time counts from zero."""
        self._queue.clear()
        self._begin(now_s, 0)

    def receive(self, data: bytes, now_s: float) -> None:
        """Ignore what the host sends."""

    def finish(self) -> None:
        """Do nothing: every line is sent as soon as it is printed."""

    def next_frame(self) -> bytes:
        """Return the next line, or nothing."""
        if not self._queue:
            return b""
        line, counts = self._queue.popleft()
        self.sent += counts
        return line

    def tally(self) -> dict[str, object]:
        """Return what the sketch did, as plain data."""
        return {"lines_printed": self.printed, "lines_sent": self.sent}

    def _begin(self, start_s: float, millis: int) -> None:
        self._start_s = start_s
        self._millis_at_start = millis
        self._due_s = start_s + self._spec.boot_s
        if self._spec.style is Style.COLUMNS:
            self._queue.append((("millis," + ",".join(self._names())).encode() + b"\r\n", False))

    def _names(self) -> list[str]:
        channels = (source.channel for source in self._sources.by_name.values())
        return [channel.name for channel in channels if channel.kind is not Kind.COLD_JUNCTION]

    def _written(self, name: str, raw: int) -> str:
        channel = self._sources.by_name[name].channel
        value = (raw - channel.zero) * channel.scale
        return f"{value:.1f}" if channel.kind is Kind.BRIDGE_COUNTS else f"{value:.2f}"

    def _print(self, at_s: float) -> None:
        values = [self._newest.get(name, "nan") for name in self._names()]
        if self._spec.style is Style.COLUMNS:
            gone_ms = (at_s - self._start_s) * (1000.0 + self._spec.drift_ppm * 1e-3)
            text = ",".join([str((self._millis_at_start + int(gone_ms)) & U32_MAX), *values])
        else:
            text = " ".join(f"{name}={value}" for name, value in zip(self._names(), values, strict=True))
        self._queue.append((text.encode() + b"\r\n", True))
        self.printed += 1
