"""The 1 Hz grid: a robust value, spread and count per channel and second."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.samples import Curve

MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution."""


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One channel on the grid; second `i` covers samples with `floor(t_s) == i`.

    Attributes:
        t_s: (n,) mean sample time of the second; the middle of the second where it is empty.
        value: (n,) median of the second's samples, NaN where it has none.
        spread: (n,) robust standard deviation of the second's samples, NaN with fewer than three.
        count: (n,) int64, samples in the second.
    """

    t_s: NDArray[np.float64]
    value: NDArray[np.float64]
    spread: NDArray[np.float64]
    count: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.value)

    def between(self, low: int, high: int) -> "Column":
        """Return the seconds `low` to `high` as a record of its own, whose time begins at `low`."""
        return Column(self.t_s[low:high] - low, self.value[low:high], self.spread[low:high], self.count[low:high])


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """All channels of a trial on one 1 Hz grid of `n` seconds."""

    n: int
    columns: Mapping[Role, Column]

    def get(self, role: Role) -> Column | None:
        """Return the column of a role, or None where the bench has no such channel."""
        return self.columns.get(role)

    def upto(self, n: int) -> "Grid":
        """Return the first `n` seconds, as a live run knows them."""
        return Grid(min(n, self.n), {role: column.between(0, n) for role, column in self.columns.items()})


def grid_of(curves: Mapping[Role, Curve], seconds: int | None = None) -> Grid:
    """Put curves of any sampling on the grid.

    Args:
        curves: Calibrated curves by role, times in seconds from the trial's first sample.
        seconds: Length of the grid; by default it ends with the last sample of any channel.
    """
    ends = [int(np.floor(curve.t_s[-1])) + 1 for curve in curves.values() if len(curve.t_s)]
    n = seconds if seconds is not None else max(ends, default=0)
    return Grid(n, {role: _column(curve, n) for role, curve in curves.items()})


def _column(curve: Curve, n: int) -> Column:
    good = np.isfinite(curve.value) & np.isfinite(curve.t_s) & (curve.t_s >= 0)
    t, v = curve.t_s[good], curve.value[good]
    second = np.floor(t).astype(np.int64)
    inside = second < n
    t, v, second = t[inside], v[inside], second[inside]
    # Sorted by second, then by value: medians become index arithmetic, whatever the order of arrival.
    order = np.lexsort((v, second))
    second, v_sorted = second[order], v[order]
    count = np.bincount(second, minlength=n).astype(np.int64)
    start = np.concatenate(([0], np.cumsum(count)))[:-1]
    value = _medians(v_sorted, start, count)
    deviation = np.abs(v_sorted - value[second])
    order = np.lexsort((deviation, second))
    spread = MAD_TO_SD * _medians(deviation[order], start, count)
    spread[count < 3] = np.nan
    mean_t = np.arange(n, dtype=np.float64) + 0.5
    filled = count > 0
    mean_t[filled] = np.bincount(np.floor(t).astype(np.int64), weights=t, minlength=n)[filled] / count[filled]
    return Column(mean_t, value, spread, count)


def _medians(
    sorted_values: NDArray[np.float64], start: NDArray[np.int64], count: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Return the median of each run of `count` sorted values; NaN for an empty run."""
    median = np.full(len(count), np.nan)
    filled = count > 0
    low = start[filled] + (count[filled] - 1) // 2
    high = start[filled] + count[filled] // 2
    median[filled] = 0.5 * (sorted_values[low] + sorted_values[high])
    return median
