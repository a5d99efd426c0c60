"""Lines of text that a sketch of somebody's own prints: from bytes to readings without numbers.

Lines carry neither checksum nor number. What can be read without doubt is handed on, marked as unchecked; every other
line is counted, and told as lost where it is known between which readings it came.
"""

import logging
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median

import numpy as np

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, FLAG_FAULT, FLAG_UNCHECKED
from emberline.bench.text_lines import TextLines
from emberline.links.arrivals import Arrival, DeviceChannel, Greeting, Missed, Restart, Unnumbered
from emberline.links.line_clock import LineClock
from emberline.links.line_splitter import LineSplitter
from emberline.links.pace import Pace
from emberline.links.text_line import Unreadable, Values, read_text_line

LOG = logging.getLogger(__name__)

DEVICE = "lines"
BITS_PER_BYTE = 10
"""A start bit, eight of data and a stop bit."""
ALL_SEEN_LIMIT_NS = 10_000_000_000
"""How long values with labels may take until each has come once; those that came by then are all there are."""
STEPS, ENOUGH_STEPS = 16, 8
EVEN, MOSTLY, HOLE = 0.25, 0.75, 1.6
"""A sketch keeps its pace where most of its steps are even; a step so many times longer has a hole in it."""
DAMAGED = "lines came damaged and could not be read"
HOLES = "lines did not come, by the device's own time"


@dataclass(slots=True)
class LineCounters:
    """What has come: whole good lines, lines without values such as headers, and lines that were set aside."""

    good: int = 0
    remarks: int = 0
    set_aside: int = 0


@dataclass
class _Group:
    """Readings of one channel that follow one another."""

    t_ns: list[int] = field(default_factory=list)
    raw: list[float] = field(default_factory=list)
    flags: list[int] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Doubtful:
    """A line whose time does not fit: damaged, or the first after a restart."""

    line: bytes
    values: Values
    arrived_ns: int


class LinesIn:
    """The text side of one serial port.

    Attributes:
        greeting: What is known of the device; None before a good line.
        counters: What has come.
    """

    def __init__(self, lines: TextLines, names: Mapping[str, str], baud: int) -> None:
        """Begin before the first line.

        Args:
            lines: What stands where in a line.
            names: Channel names within the bench, by column or label, where the two differ.
            baud: Bits a second.
        """
        self.greeting: Greeting | None = None
        self.counters = LineCounters()
        self.refusal = ""
        self._lines = lines
        self._names = names
        self._baud = baud
        self._splitter = LineSplitter()
        self._clock = LineClock(lines.time_unit)
        self._doubtful: _Doubtful | None = None
        self._steps_us: deque[int] = deque(maxlen=STEPS)
        self._paces: dict[str, Pace] = {}
        self._out: list[Arrival] = []
        self._groups: dict[str, _Group] = {}
        self._damaged = 0
        self._last_ns: int | None = None
        self._first_ns = self._bytes = self._restarts = 0
        self._good_here = False

    @property
    def streaming(self) -> bool:
        """Whether a good line has come on this connection."""
        return self._good_here

    @property
    def discarded(self) -> int:
        """Lines that were set aside."""
        return self.counters.set_aside

    @property
    def nobody(self) -> str:
        """What is wrong where no good line comes."""
        if not self._bytes:
            return f"nothing comes from the port at {self._baud} baud: does the sketch run?"
        return (
            f"what comes at {self._baud} baud cannot be read as the lines that the bench file describes: "
            "`emberline doctor` tries the speeds and shows what comes"
        )

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that readings are on disk; a sketch that prints lines cannot be told."""

    def connected(self, now_ns: int) -> None:
        """Note that the port is open; the first piece of a line is left out, for its beginning was not heard."""
        self._splitter.begin()
        self._bytes = 0
        self._good_here = False

    def disconnected(self) -> None:
        """Note that the port is closed."""

    def bytes_to_send(self) -> bytes:
        """Return nothing: nobody there listens."""
        return b""

    def take_in(self, pieces: list[tuple[bytes, int]], now_ns: int) -> list[Arrival]:
        """Take in bytes, each piece with the time of its arrival, and return what came of them."""
        for data, arrived_ns in pieces:
            self._bytes += len(data)
            for line, after in self._splitter.feed(data):
                # What came after the line took its time on the wire.
                self._take(line, arrived_ns - after * BITS_PER_BYTE * 1_000_000_000 // self._baud)
        self._flush()
        out, self._out = self._out, []
        return out

    def _take(self, line: bytes, arrived_ns: int) -> None:
        found = read_text_line(line)
        if isinstance(found, Values):
            why = self._misfit(found)
            if why:
                self._set_aside(line, why)
            elif self._lines.time is None:
                self._hand_on(found, max(arrived_ns, self._last_ns or 0), None)
            else:
                self._with_time(_Doubtful(line, found, arrived_ns), found.numbers[self._lines.time])
        elif isinstance(found, Unreadable):
            self._set_aside(line, found.why)
        else:
            self.counters.remarks += bool(found.text)

    def _misfit(self, values: Values) -> str:
        """Return why a line is not one that the bench file describes; empty if it is."""
        lines = self._lines
        if values.columns != lines.columns:
            wanted = "values with labels" if lines.columns is None else f"{lines.columns} values"
            found = "values with labels" if values.columns is None else f"{values.columns} values"
            return f"it has {found} instead of {wanted}"
        named = (*lines.sources, lines.time)
        word = next((word for name, word in values.words.items() if name in named), None)
        if word is not None:
            return f"{word[:20]!r} is no number"
        if lines.time is not None and not np.isfinite(values.numbers.get(lines.time, np.nan)):
            return "it has no time"
        return "" if any(name in values.numbers for name in lines.sources) else "it has no value of any channel"

    def _with_time(self, line: _Doubtful, time: float) -> None:
        stamped = self._clock.stamp(time, line.arrived_ns)
        doubtful, self._doubtful = self._doubtful, None
        if stamped is not None:
            if doubtful is not None:
                self._set_aside(doubtful.line, "its time does not fit")
            self._hand_on(line.values, *stamped)
            return
        if doubtful is not None and self._lines.time is not None:
            # Two that fit each other and not what was before: the board has restarted.
            fresh = LineClock(self._lines.time_unit)
            first = fresh.stamp(doubtful.values.numbers[self._lines.time], doubtful.arrived_ns)
            second = fresh.stamp(time, line.arrived_ns)
            if first is not None and second is not None:
                self._restart(fresh)
                self._hand_on(doubtful.values, max(first[0], self._last_ns or 0), None)
                self._hand_on(line.values, max(second[0], self._last_ns or 0), None)
                return
            self._set_aside(doubtful.line, "its time does not fit")
        self._doubtful = line

    def _restart(self, clock: LineClock) -> None:
        self._flush()
        self._restarts += 1
        self._clock = clock
        self._damaged = 0
        self._steps_us.clear()
        self._out.append(Restart(DEVICE, self._restarts - 1, self._restarts))

    def _hand_on(self, values: Values, t_ns: int, since_us: int | None) -> None:
        self.counters.good += 1
        self._good_here = True
        here = [name for name in self._lines.sources if name in values.numbers]
        count, reason = self._missed(since_us, len(here) == len(self._lines.sources))
        if count and self._last_ns is not None:
            self._flush()
            for name in here:
                stored = self._names.get(name, name)
                self._out.append(Missed(DEVICE, stored, count, self._last_ns, t_ns, reason, self))
        self._damaged = 0
        self._last_ns = t_ns
        stamped = FLAG_ARRIVAL_STAMPED if self._lines.time is None else 0
        for name in here:
            value = values.numbers[name]
            group = self._groups.setdefault(self._names.get(name, name), _Group())
            group.t_ns.append(t_ns)
            group.raw.append(value)
            group.flags.append(FLAG_UNCHECKED | stamped | (FLAG_FAULT if np.isnan(value) else 0))
        self._greet(here, t_ns)

    def _missed(self, since_us: int | None, whole: bool) -> tuple[int, str]:
        """Return how many lines are missing before one, and why, by its distance from the line before or by damage.

        Where a line has only some of the channels, nobody knows which of them a damaged one had.
        """
        if since_us is not None:
            steps = self._steps_us
            usual_us = median(steps) if steps else 0.0
            even = sum(abs(step - usual_us) <= EVEN * usual_us for step in steps)
            steps.append(since_us)
            if len(steps) > ENOUGH_STEPS and usual_us > 0.0 and even >= MOSTLY * (len(steps) - 1):
                count = round(since_us / usual_us) - 1 if since_us >= HOLE * usual_us else 0
                return count, DAMAGED if count == self._damaged else HOLES
        return (self._damaged if whole else 0), DAMAGED

    def _greet(self, here: list[str], t_ns: int) -> None:
        """Say who is there once all channels have been seen, and again when their pace is another."""
        if not self._paces:
            self._first_ns = t_ns
        fresh = [name for name in here if name not in self._paces]
        self._paces.update((name, Pace()) for name in fresh)
        changed = [name for name in here if self._paces[name].note(t_ns)]
        whole = len(self._paces) == len(self._lines.sources) or t_ns - self._first_ns > ALL_SEEN_LIMIT_NS
        if not whole or not (fresh or changed or self.greeting is None):
            return
        channels = tuple(DeviceChannel(name, "", pace.told_s, 1.0, 0) for name, pace in self._paces.items())
        period_s = min(channel.period_s for channel in channels)
        self.greeting = Greeting(DEVICE, self._restarts, "text lines", channels, period_s, 0.0)
        self._flush()
        self._out.append(self.greeting)

    def _set_aside(self, line: bytes, why: str) -> None:
        # One that came in two halves is counted twice, and missing once: where time tells, time decides.
        self.counters.set_aside += 1
        self._damaged += 1
        level = logging.WARNING if self.counters.set_aside == 1 else logging.DEBUG
        LOG.log(level, "a line is set aside, for %s: %r (others are only counted)", why, line[:80])

    def _flush(self) -> None:
        for channel, group in self._groups.items():
            self._out.append(
                Unnumbered(
                    DEVICE,
                    channel,
                    np.array(group.t_ns, dtype=np.int64),
                    np.array(group.raw, dtype=np.float64),
                    np.array(group.flags, dtype=np.uint8),
                    self,
                )
            )
        self._groups = {}
