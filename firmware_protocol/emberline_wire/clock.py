"""From a device's 32-bit microsecond counter to host time.

The two clocks are compared by pings (the device read its counter some time between sending and pong) and, until there
is a pong, by arrivals (a sample was taken before it arrived). Host times must come from a clock that does not step,
such as a monotonic clock with a fixed offset added.

The times given out lie on a broken line that only ever grows at its far end: a time once given for a tick stays, times
never run backwards within or across streams, and corrections are blended in at no more than `MAX_SLEW`.
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emberline_wire.clock_line import ClockLine, Comparison, fit_line
from emberline_wire.errors import BadStateError, ClockNotReadyError
from emberline_wire.limits import OFFSET_UNIT_US

WRAP = 1 << 32
BUCKET_US = 10_000_000
"""Comparisons are thinned to the best one of each ten seconds."""
MAX_BUCKETS = 64
"""Ten minutes: long enough for a rate to a few ppm, short enough to follow a crystal that warms up beside a stove."""
ARRIVAL_HALF_NS = 100_000_000
"""Assumed half-width of an arrival on the lower envelope: polling, USB (common practice, no source)."""
STEP_AFTER = 5
"""So many comparisons in a row beyond all doubt mean that a clock has stepped; fewer are outliers."""
SLEW_OVER_NS = 10e9
MAX_SLEW = 5e-4
STEP_NS = 1000 * OFFSET_UNIT_US
"""Step of the times given: that in which devices tell theirs, a tenth of the least uncertainty (GUM, JCGM 100, F.2.2.1:
it adds 9 us). What lies below it would only be noise to be stored, more than a byte a sample of it."""
KNOT_SPACING_US = 1_000_000
MAX_KNOTS = 64

_Int64s = NDArray[np.int64]


class DeviceClock:
    """Host time of one boot of one device; a new boot needs a new clock.

    Attributes:
        rejected: Comparisons set aside as outliers.
        steps: How often the host's clock was found to have stepped against the device's.
        step_ns: Sum of those steps; it is taken out of the times given, so that durations stay those of the device.

    """

    def __init__(self) -> None:
        self.rejected = 0
        self.steps = 0
        self.step_ns = 0
        self._pongs: list[Comparison] = []
        self._arrivals: list[Comparison] = []
        self._doubtful: list[Comparison] = []
        self._line: ClockLine | None = None
        self._latest: tuple[int, int] | None = None
        self._knots: list[tuple[int, int, float]] = []
        self._columns: tuple[_Int64s, _Int64s, NDArray[np.float64]] | None = None
        self._newest_given = 0

    @property
    def ready(self) -> bool:
        """Whether times can be given."""
        return self._line is not None

    @property
    def synchronised(self) -> bool:
        """Whether at least one pong has bounded the offset from both sides."""
        return bool(self._pongs)

    @property
    def drift_ppm(self) -> float:
        """Estimate of how much slower the device's clock runs than the host's, in parts per million."""
        return 0.0 if self._line is None else self._line.drift * 1e6

    def unwrap(self, ticks: int, now_ns: int) -> int:
        """Return the 64-bit count whose low 32 bits are `ticks` and that is nearest to what is expected at `now_ns`.

        Right as long as the reading is less than 35 minutes older than `now_ns`, however long the silence before it,
        and the host's clock has not been put forward by more than that; put back, it is not believed.
        """
        if self._latest is None:
            return ticks
        latest_ticks, latest_ns = self._latest
        expected = latest_ticks + max(0, now_ns - self.step_ns - latest_ns) // 1000
        return ticks + WRAP * ((expected - ticks + WRAP // 2) // WRAP)

    def arrival(self, ticks: int, arrived_ns: int) -> None:
        """Take in that what the device stamped `ticks` (32 bits) arrived at `arrived_ns`."""
        if self._pongs:
            return
        count = self.unwrap(ticks, arrived_ns)
        arrived_ns -= self.step_ns
        self._note_latest(count, arrived_ns)
        point = Comparison(count, arrived_ns, ARRIVAL_HALF_NS)
        _keep_best(self._arrivals, point, lambda c: c.host_ns - c.ticks * 1000)
        self._line = fit_line(self._arrivals)

    def pong(self, ticks: int, sent_ns: int, arrived_ns: int) -> None:
        """Take in that the device's counter showed `ticks` (32 bits) between the two host times."""
        count = self.unwrap(ticks, arrived_ns)
        half_ns = max(0, arrived_ns - sent_ns) // 2
        point = Comparison(count, arrived_ns - half_ns - self.step_ns, half_ns)
        if self._line is not None and self._pongs and self._is_beyond_doubt(self._line, point):
            self.rejected += 1
            self._doubtful.append(point)
            if len(self._doubtful) >= STEP_AFTER:
                self._take_step(self._line)
            return
        self._doubtful.clear()
        self._add_pong(point)

    def u_ns(self, ticks: int) -> float:
        """Return the standard uncertainty of the time given, or to be given, for the 64-bit count `ticks`.

        It contains what is still to be blended in.

        Raises:
            ClockNotReadyError: Nothing has been compared yet.

        """
        line = self._ready_line()
        behind = float(self._one_on_scale(ticks) - line.at(ticks)) if self._knots else 0.0
        return math.hypot(line.u_at(ticks), behind)

    def times_ns(self, ticks: _Int64s) -> _Int64s:
        """Return host times of the 64-bit counts `ticks` (n,), to the nearest `STEP_NS`, and settle them for ever.

        The counts do not decrease.

        Raises:
            ClockNotReadyError: Nothing has been compared yet.

        """
        line = self._ready_line()
        newest = int(ticks[-1])
        if not self._knots:
            first = int(ticks[0])
            self._knots.append((first, line.at(first), line.ns_per_tick))
            self._columns = None
            self._newest_given = first
        elif newest >= self._knots[-1][0] + KNOT_SPACING_US and newest > self._newest_given:
            self._grow(line, newest)
        self._newest_given = max(self._newest_given, newest)
        exact = self._on_scale(ticks) + STEP_NS // 2
        return exact - exact % STEP_NS

    def state(self) -> dict[str, Any]:
        """Return everything as plain data that JSON can hold; `from_state` takes it back."""
        return {
            "rejected": self.rejected,
            "steps": self.steps,
            "step_ns": self.step_ns,
            "pongs": [[c.ticks, c.host_ns, c.half_ns] for c in self._pongs],
            "arrivals": [[c.ticks, c.host_ns, c.half_ns] for c in self._arrivals],
            "doubtful": [[c.ticks, c.host_ns, c.half_ns] for c in self._doubtful],
            "latest": None if self._latest is None else list(self._latest),
            "knots": [list(knot) for knot in self._knots],
            "newest_given": self._newest_given,
        }

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> "DeviceClock":
        """Return the clock that `state` describes.

        Raises:
            BadStateError: It describes none.

        """
        clock = cls()
        try:
            clock.rejected, clock.steps, clock.step_ns = state["rejected"], state["steps"], state["step_ns"]
            clock._pongs = [Comparison(*map(int, entry)) for entry in state["pongs"]]
            clock._arrivals = [Comparison(*map(int, entry)) for entry in state["arrivals"]]
            clock._doubtful = [Comparison(*map(int, entry)) for entry in state["doubtful"]]
            clock._latest = None if state["latest"] is None else (int(state["latest"][0]), int(state["latest"][1]))
            clock._knots = [(int(ticks), int(t_ns), float(slope)) for ticks, t_ns, slope in state["knots"]]
            clock._newest_given = int(state["newest_given"])
        except (KeyError, TypeError, ValueError, IndexError) as exc:
            raise BadStateError(f"the saved clock is incomplete: {exc!r}") from exc
        if clock._pongs or clock._arrivals:
            clock._line = fit_line(clock._pongs or clock._arrivals)
        return clock

    def _ready_line(self) -> ClockLine:
        if self._line is None:
            raise ClockNotReadyError("the device's clock has not been compared with the host's yet")
        return self._line

    def _note_latest(self, ticks: int, host_ns: int) -> None:
        if self._latest is None or ticks > self._latest[0]:
            self._latest = (ticks, host_ns)

    def _add_pong(self, point: Comparison) -> None:
        self._note_latest(point.ticks, point.host_ns)
        _keep_best(self._pongs, point, lambda c: c.half_ns)
        self._line = fit_line(self._pongs)

    @staticmethod
    def _is_beyond_doubt(line: ClockLine, point: Comparison) -> bool:
        miss = abs(point.host_ns - line.at(point.ticks))
        return miss > point.half_ns + 5.0 * line.u_at(point.ticks) + 1e6

    def _take_step(self, line: ClockLine) -> None:
        step = int(np.median([c.host_ns - line.at(c.ticks) for c in self._doubtful]))
        self.steps += 1
        self.step_ns += step
        points = [Comparison(c.ticks, c.host_ns - step, c.half_ns) for c in self._doubtful]
        self._doubtful.clear()
        self._pongs.clear()
        for point in points:
            self._add_pong(point)

    def _grow(self, line: ClockLine, newest: int) -> None:
        at = self._newest_given
        t_ns = self._one_on_scale(at)
        blend_over_ns = max(SLEW_OVER_NS, (newest - at) * 1000.0)
        slew = min(max((line.at(at) - t_ns) / blend_over_ns, -MAX_SLEW), MAX_SLEW)
        if at == self._knots[-1][0]:
            self._knots.pop()
        self._knots.append((at, t_ns, line.ns_per_tick + 1000.0 * slew))
        del self._knots[:-MAX_KNOTS]
        self._columns = None

    def _on_scale(self, ticks: _Int64s) -> _Int64s:
        last, last_ns, slope = self._knots[-1]
        if ticks[0] >= last:
            # So it is with all but the first samples after a silence, and at a third of the cost.
            after_ns: _Int64s = np.rint((ticks - last) * slope).astype(np.int64)
            return last_ns + after_ns
        if self._columns is None:
            self._columns = _columns(self._knots)
        knots, t_ns, slopes = self._columns
        at = np.maximum(knots.searchsorted(ticks, side="right") - 1, 0)
        since_ns: _Int64s = np.rint((ticks - knots[at]) * slopes[at]).astype(np.int64)
        return t_ns[at] + since_ns

    def _one_on_scale(self, ticks: int) -> int:
        at = -1
        if ticks < self._knots[-1][0]:
            at = max(bisect_right(self._knots, ticks, key=lambda knot: knot[0]) - 1, 0)
        knot, t_ns, slope = self._knots[at]
        return t_ns + round((ticks - knot) * slope)


def _columns(knots: Sequence[tuple[int, int, float]]) -> tuple[_Int64s, _Int64s, NDArray[np.float64]]:
    ticks, t_ns, slopes = zip(*knots, strict=True)
    return np.array(ticks, dtype=np.int64), np.array(t_ns, dtype=np.int64), np.array(slopes)


def _keep_best(kept: list[Comparison], point: Comparison, badness: Callable[[Comparison], int]) -> None:
    """Keep the better of `point` and the one of its bucket; forget the oldest bucket when there are too many."""
    if kept and kept[-1].ticks // BUCKET_US == point.ticks // BUCKET_US:
        if badness(point) < badness(kept[-1]):
            kept[-1] = point
    else:
        kept.append(point)
        kept.sort(key=lambda c: c.ticks)
        del kept[:-MAX_BUCKETS]
