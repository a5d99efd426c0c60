"""The 1 Hz grid: a robust value, spread and count per channel and second."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from math import nan
from operator import add

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


def grid_of(curves: Mapping[Role, Curve], seconds: int | None = None, *, since: int = 0) -> Grid:
    """Put curves of any sampling on the grid.

    Args:
        curves: Calibrated curves by role, times in seconds from the trial's first sample.
        seconds: Length of the record; by default it ends with the last sample of any channel.
        since: The grid's first second; those before are left out, and times still count from the trial's first sample.
    """
    ends = [int(np.floor(curve.t_s[-1])) + 1 for curve in curves.values() if len(curve.t_s)]
    end = seconds if seconds is not None else max(ends, default=0)
    return Grid(end - since, {role: _column(curve, since, end) for role, curve in curves.items()})


def second_of(t_s: Sequence[float], values: Sequence[float]) -> tuple[float, float, float]:
    """Return mean time, value and spread of one second, to the bit as `grid_of` does.

    For a live run, to which seconds come one at a time: so few numbers take less time without arrays.

    Args:
        t_s: Times of its samples, in their order.
        values: Their values; at least one, none of them NaN.
    """
    many, ordered = len(values), sorted(values)
    low, high = (many - 1) // 2, many // 2
    value = 0.5 * (ordered[low] + ordered[high])
    spread = nan
    if many >= 3:
        apart = sorted([abs(one - value) for one in values])
        spread = MAD_TO_SD * (0.5 * (apart[low] + apart[high]))
    # Not `sum`, which makes up for rounding in later versions of Python.
    return reduce(add, t_s, 0.0) / many, value, spread


def _column(curve: Curve, since: int, end: int) -> Column:
    good = np.isfinite(curve.value) & (curve.t_s >= since) & (curve.t_s < end)
    t, v = curve.t_s[good], curve.value[good]
    second = t.astype(np.int64) - since
    if np.any(second[1:] < second[:-1]):
        order = np.argsort(second, kind="stable")
        t, v, second = t[order], v[order], second[order]
    n = end - since
    count = np.bincount(second, minlength=n).astype(np.int64)
    value, spread = _medians(v, count)
    mean_t = np.arange(since, end, dtype=np.float64) + 0.5
    filled = count > 0
    mean_t[filled] = np.bincount(second, weights=t, minlength=n)[filled] / count[filled]
    return Column(mean_t, value, spread, count)


def _medians(v: NDArray[np.float64], count: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the median and the robust spread of each run of `count` values; NaN where there are too few."""
    value, spread = np.full(len(count), np.nan), np.full(len(count), np.nan)
    start = np.cumsum(count) - count
    # Seconds of equally many samples form a table, whose rows are sorted at once; there are few such numbers.
    for many in sorted(set(count.tolist()) - {0}):
        rows = np.flatnonzero(count == many)
        table = np.sort(v[start[rows, np.newaxis] + np.arange(many)], axis=1)
        value[rows] = _middle(table)
        if many >= 3:
            table -= value[rows, np.newaxis]
            spread[rows] = MAD_TO_SD * _middle(np.sort(np.abs(table, out=table), axis=1))
    return value, spread


def _middle(table: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the median of each sorted row."""
    many = table.shape[1]
    return np.asarray(0.5 * (table[:, (many - 1) // 2] + table[:, many // 2]))
