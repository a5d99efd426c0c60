"""From the time that a sketch prints in its lines to host time: its counter unwrapped, its rate compared with arrivals.

A line has no checksum, so its time is believed only where it is possible: a line cannot be later than its arrival, and
does not come before the one before it. What does not fit may be damaged, or the board has restarted.
"""

from math import isfinite

import numpy as np

from emberline.bench.text_lines import TimeUnit
from emberline_wire.clock import DeviceClock

_WRAP = 1 << 32
_MICROSECONDS = {TimeUnit.MILLISECONDS: 1_000, TimeUnit.MICROSECONDS: 1, TimeUnit.SECONDS: 1_000_000}
LEAD_NS = 1_000_000_000
"""How far a line may seem to be ahead of its arrival, because those before it came late."""
FAST = 0.01
"""Share by which a board's clock may run faster than the host's; a ceramic resonator keeps half a per cent."""
WINDOW_NS = 60_000_000_000
"""After this time the shortest way of a line is looked for anew: clocks do not run alike."""
LATEST_US = 1 << 52
"""Times from here on are no time since a board was switched on: 142 years."""


class LineClock:
    """Host time of one boot of a board."""

    def __init__(self, unit: TimeUnit) -> None:
        """Begin before the first line."""
        self._unit = unit
        self._clock = DeviceClock()
        self._first_us: int | None = None
        self._last_us = 0
        self._wraps = 0
        self._shortest_ns: list[int] = []
        self._before_ns: int | None = None
        self._window_ns = self._arrived_ns = 0

    def stamp(self, time: float, arrived_ns: int) -> tuple[int, int] | None:
        """Return the host time of a line and the microseconds since the line before; None where its time does not fit.

        Args:
            time: What the line says.
            arrived_ns: When it arrived.
        """
        if not isfinite(time) or not 0.0 <= time < LATEST_US / _MICROSECONDS[self._unit]:
            return None
        at_us = round(time * _MICROSECONDS[self._unit])
        if self._first_us is None:
            self._first_us = self._last_us = at_us
            self._window_ns = self._arrived_ns = arrived_ns
        count_us = self._fitting(at_us, arrived_ns)
        if count_us is None:
            return None
        since_us, self._last_us = count_us - self._last_us, count_us
        ticks = count_us - self._first_us
        self._note_lag(arrived_ns - ticks * 1_000, arrived_ns)
        self._clock.arrival(ticks % _WRAP, arrived_ns)
        return int(self._clock.times_ns(np.array([ticks], dtype=np.int64))[0]), since_us

    def _fitting(self, at_us: int, arrived_ns: int) -> int | None:
        """Return a time counted on beyond the end of its counter, None if it is impossible."""
        wrap_us = 0 if self._unit is TimeUnit.SECONDS else _WRAP * _MICROSECONDS[self._unit]
        for wraps in (self._wraps, self._wraps + 1) if wrap_us else (0,):
            count_us = at_us + wraps * wrap_us
            if count_us >= self._last_us and not self._is_ahead(count_us, arrived_ns):
                self._wraps = wraps
                return count_us
        return None

    def _note_lag(self, lag_ns: int, arrived_ns: int) -> None:
        """Keep the two shortest ways of a window: the second is not the work of one damaged time."""
        if arrived_ns - self._window_ns > WINDOW_NS:
            self._before_ns = self._shortest_ns[-1]
            self._shortest_ns, self._window_ns = [], arrived_ns
        self._shortest_ns = sorted([*self._shortest_ns, lag_ns])[:2]
        self._arrived_ns = arrived_ns

    def _is_ahead(self, count_us: int, arrived_ns: int) -> bool:
        """Tell whether a line would have come sooner than lines can."""
        if self._first_us is None or not self._shortest_ns:
            return False
        shortest_ns = self._shortest_ns[-1] if self._before_ns is None else min(self._before_ns, self._shortest_ns[-1])
        lag_ns = arrived_ns - (count_us - self._first_us) * 1_000
        coarse_ns = 1_000_000_000 if self._unit is TimeUnit.SECONDS else 0
        return lag_ns < shortest_ns - LEAD_NS - coarse_ns - FAST * (arrived_ns - self._arrived_ns)
