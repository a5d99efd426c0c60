"""The course of a bench: one mean value a second, kept for those who watch, with what has changed since they looked.

A viewer names the state that it has seen and is given every second that is new or other than it was, so that its curves
have no hole, whatever was missed: a break of the network, a phone asleep, or readings that the device sent late.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import takewhile

import numpy as np

from emberline.service.watch import SECOND_NS
from emberline.trials.live_readings import Readings

RATE = "burning_rate"
"""Name of the estimated series; the others have those of their roles."""
MOST_S = 13 * 3_600
"""Length of what is kept at most: the longest trial, and what may lie before it."""
MOST_POINTS = 1_500
"""Points of a course that is handed over whole: more than a screen has columns."""

LOOK_EVERY = 64
"""Changes between two looks for what is too old."""

Second = dict[str, tuple[float, int]]
"""Sum and number of the values of each series in one second."""


@dataclass
class Course:
    """The course of one bench.

    Attributes:
        version: Grows with every change.
    """

    version: int = 0
    _seconds: dict[int, Second] = field(default_factory=dict)
    _changed: dict[int, int] = field(default_factory=dict)
    """Version at which each second changed last, in the order of these."""

    def take(self, readings: Iterable[Readings]) -> None:
        """Take in the readings of one commit."""
        self.version += 1
        for one in readings:
            known = np.isfinite(one.value)
            seconds, where = np.unique(one.t_ns[known] // SECOND_NS, return_inverse=True)
            sums, counts = np.bincount(where, one.value[known]), np.bincount(where)
            name = one.channel.role.value
            for second, added, number in zip(seconds.tolist(), sums.tolist(), counts.tolist(), strict=True):
                total, count = self._second(second).get(name, (0.0, 0))
                self._seconds[second][name] = (total + added, count + number)

    def estimate(self, t_ns: int, rate_g_min: float) -> None:
        """Take in the burning rate as it was estimated for a moment, in place of an earlier one for that second."""
        self.version += 1
        self._second(t_ns // SECOND_NS)[RATE] = (rate_g_min, 1)

    def keep(self, since_ns: int) -> None:
        """Let go of what is older than a moment; it is looked for now and then."""
        if self.version % LOOK_EVERY == 0:
            least = max(since_ns // SECOND_NS, max(self._seconds, default=0) - MOST_S)
            self._seconds = {second: values for second, values in self._seconds.items() if second >= least}
            self._changed = {second: version for second, version in self._changed.items() if second >= least}

    def add(self, earlier: "Course") -> None:
        """Take in another course of the same bench, made from other readings."""
        self.version += 1
        for second, values in earlier._seconds.items():
            own = self._second(second)
            own.update(_sum((own, values)))

    def since(self, version: int, start_ns: int) -> dict[str, list[float | None]]:
        """Return the seconds from a moment on that have changed since a version.

        A course handed over from its beginning is thinned to what a screen can show.

        Args:
            version: What was seen before; 0 for nothing.
            start_ns: The moment, UTC nanoseconds.

        Returns:
            The middle of each second as `t`, seconds of the epoch, and each series by its name, None for gaps.
        """
        newer = takewhile(lambda second: self._changed[second] > version, reversed(self._changed))
        seconds = sorted(second for second in newer if (second + 1) * SECOND_NS > start_ns)
        width = -(-len(seconds) // MOST_POINTS) if version == 0 and seconds else 1
        blocks = [seconds[low : low + width] for low in range(0, len(seconds), width)]
        document: dict[str, list[float | None]] = {"t": [(block[0] + block[-1] + 1) / 2.0 for block in blocks]}
        for index, block in enumerate(blocks):
            for name, (total, count) in _sum(self._seconds[second] for second in block).items():
                document.setdefault(name, [None] * len(blocks))[index] = round(total / count, 2)
        return document

    def _second(self, second: int) -> Second:
        """Return a second to be changed."""
        self._changed.pop(second, None)
        self._changed[second] = self.version
        return self._seconds.setdefault(second, {})


def _sum(seconds: Iterable[Second]) -> Second:
    """Return the sums and numbers of several seconds together."""
    together: Second = {}
    for values in seconds:
        for name, (total, count) in values.items():
            before, number = together.get(name, (0.0, 0))
            together[name] = (before + total, number + count)
    return together
