"""The course of a bench: one mean value a second, kept for those who watch, with what has changed since they looked.

A viewer names the state that it has seen and is given every second that is new or other than it was, so that its curves
have no hole, whatever was missed: a break of the network, a phone asleep, or readings that the device sent late.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from emberline.service.watch import SECOND_NS
from emberline.trials.live_readings import Readings

T = TypeVar("T", bound=np.generic)

RATE = "burning_rate"
"""Name of the estimated series; the others have those of their roles."""
MOST_S = 13 * 3_600
"""Length of what is kept at most: the longest trial, and what may lie before it."""
MOST_POINTS = 1_500
"""Points of a course that is handed over whole: more than a screen has columns."""

GATHERED = 16
"""Commits whose readings are added up at a time, where nobody looks: adding up some costs hardly more than one, and
some seconds of a bench take little room."""
LOOK_EVERY = 64
"""Changes between two looks for what is too old."""
ROOM_S = 256
"""Seconds for which there is room at least; a fourth is added where it is full."""


@dataclass
class _Series:
    """Sums and numbers of the values of one series, a place for each second."""

    sums: NDArray[np.float64]
    counts: NDArray[np.uint32]


@dataclass
class Course:
    """The course of one bench, in arrays that begin with the second `_first`: a daemon may have a thousand."""

    _version: int = 0
    _gathered: dict[str, tuple[list[NDArray[np.int64]], list[NDArray[np.float64]]]] = field(default_factory=dict)
    _takes: int = 0
    _first: int = 0
    _length: int = 0
    _changed: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    """Version at which each second changed last; 0 for one that nothing is known of."""
    _series: dict[str, _Series] = field(default_factory=dict)

    @property
    def version(self) -> int:
        """A number that grows with every change."""
        # What has changed by then bears that number or a lower one.
        self._add_up()
        return self._version

    def take(self, readings: Iterable[Readings]) -> None:
        """Take in the readings of one commit; they are added up once somebody looks, or enough have gathered."""
        self._version += 1
        for one in readings:
            times, values = self._gathered.setdefault(one.channel.role.value, ([], []))
            times.append(one.t_ns)
            values.append(one.value)
        self._takes += 1
        if self._takes >= GATHERED:
            self._add_up()

    def estimate(self, t_ns: int, rate_g_min: float) -> None:
        """Take in the burning rate as it was estimated for a moment, in place of an earlier one for that second."""
        self._version += 1
        second = np.array([t_ns // SECOND_NS])
        (place,) = self._places(second)
        if place >= 0:
            series = self._of(RATE)
            series.sums[place], series.counts[place] = rate_g_min, 1

    def keep(self, since_ns: int) -> None:
        """Let go of what is older than a moment; it is looked for now and then."""
        if self._version % LOOK_EVERY == 0:
            self._add_up()
            self._drop_before(max(since_ns // SECOND_NS, self._first + self._length - MOST_S))

    def add(self, earlier: "Course") -> None:
        """Take in another course of the same bench, made from other readings."""
        self._version += 1
        earlier._add_up()
        for name, series in earlier._series.items():
            (there,) = np.nonzero(series.counts[: earlier._length])
            if len(there):
                self._add(name, there + earlier._first, series.sums[there], series.counts[there])

    def since(self, version: int, start_ns: int) -> dict[str, list[float | None]]:
        """Return the seconds from a moment on that have changed since a version.

        A course handed over from its beginning is thinned to what a screen can show.

        Args:
            version: What was seen before; 0 for nothing.
            start_ns: The moment, UTC nanoseconds.

        Returns:
            The middle of each second as `t`, seconds of the epoch, and each series by its name, None for gaps.
        """
        self._add_up()
        (places,) = np.nonzero(self._changed[: self._length] > version)
        places = places[(places + self._first + 1) * SECOND_NS > start_ns]
        if not len(places):
            return {"t": []}
        width = -(-len(places) // MOST_POINTS) if version == 0 else 1
        lows = np.arange(0, len(places), width)
        highs = np.minimum(lows + width, len(places)) - 1
        document: dict[str, list[float | None]] = {
            "t": ((places[lows] + places[highs] + 1) / 2.0 + self._first).tolist()
        }
        for name, series in self._series.items():
            counts = np.add.reduceat(series.counts[places], lows)
            if counts.any():
                sums = np.add.reduceat(series.sums[places], lows)
                pairs = zip(sums.tolist(), counts.tolist(), strict=True)
                document[name] = [round(total / count, 2) if count else None for total, count in pairs]
        return document

    def _add_up(self) -> None:
        self._takes = 0
        for name, (times, values) in self._gathered.items():
            if values:
                value = np.concatenate(values)
                known = np.isfinite(value)
                seconds, where = np.unique(np.concatenate(times)[known] // SECOND_NS, return_inverse=True)
                times.clear()
                values.clear()
                if len(seconds):
                    sums = np.bincount(where, value[known]).astype(np.float64)
                    self._add(name, seconds, sums, np.bincount(where))

    def _add(
        self, name: str, seconds: NDArray[np.int64], sums: NDArray[np.float64], counts: NDArray[np.integer]
    ) -> None:
        """Add to a series in some seconds, each of them once."""
        places = self._places(seconds)
        kept, series = places >= 0, self._of(name)
        series.sums[places[kept]] += sums[kept]
        series.counts[places[kept]] += counts[kept].astype(np.uint32)

    def _of(self, name: str) -> _Series:
        size = len(self._changed)
        return self._series.setdefault(name, _Series(np.zeros(size), np.zeros(size, dtype=np.uint32)))

    def _places(self, seconds: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the places of seconds that are about to change, below 0 for those long past; makes room for them."""
        high = int(seconds.max())
        newest = max(high + 1, self._first + self._length if self._length else 0)
        low = int(seconds[seconds >= newest - MOST_S].min(initial=high))
        if not self._length:
            self._first = low
        elif low < self._first or newest - self._first > MOST_S:
            self._move(max(min(low, self._first), newest - MOST_S))
        self._length = max(self._length, high + 1 - self._first)
        if self._length > len(self._changed):
            self._resize(0, self._length + max(ROOM_S, self._length // 4))
        places = seconds - self._first
        self._changed[places[places >= 0]] = self._version
        return places

    def _drop_before(self, second: int) -> None:
        if self._length and second > self._first:
            self._move(min(second, self._first + self._length))

    def _move(self, first: int) -> None:
        """Have the arrays begin with another second; what lies before it goes."""
        by = self._first - first
        self._length = max(0, self._length + by)
        self._resize(by, self._length + ROOM_S)
        self._first = first

    def _resize(self, by: int, size: int) -> None:
        """Give all arrays another size and move what is in them by so many places."""
        self._changed = _resized(self._changed, by, size)
        for series in self._series.values():
            series.sums, series.counts = _resized(series.sums, by, size), _resized(series.counts, by, size)


def _resized(values: NDArray[T], by: int, size: int) -> NDArray[T]:
    made = np.zeros(size, dtype=values.dtype)
    kept = values[max(0, -by) : max(0, size - by)]
    start = max(0, by)
    made[start : start + len(kept)] = kept[: max(0, size - start)]
    return made
