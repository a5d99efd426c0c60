"""Curves cut down to what a picture can show: ranges without outliers, no more points than columns."""

import numpy as np
from numpy.typing import NDArray

from emberline.heat.result import COVERAGE_95

Values = NDArray[np.float64]


def limits(values: Values) -> tuple[float, float]:
    """Return a panel's range: all values, but for outliers further away than the bulk is wide."""
    finite = values[np.isfinite(values)]
    low, high = (float(q) for q in np.percentile(finite, (0.3, 99.7)))
    room = max(high - low, 1e-9)
    low = max(float(finite.min()), low - 0.5 * room)
    high = min(float(finite.max()), high + 0.5 * room)
    margin = max(0.05 * (high - low), 0.5)
    return low - margin, high + margin


def drawn(t: Values, values: Values, columns: int) -> tuple[Values, Values]:
    """Return the points to draw: all, or the least and the greatest of each of `columns` stretches."""
    if len(t) <= 2 * columns:
        return t, values
    keep: list[int] = []
    for stretch in np.array_split(np.arange(len(t)), columns):
        part = values[stretch]
        if np.isfinite(part).any():
            keep += sorted({int(stretch[np.nanargmin(part)]), int(stretch[np.nanargmax(part)])})
        else:
            keep.append(int(stretch[0]))
    return t[keep], values[keep]


def band(t: Values, values: Values, u: Values, columns: int) -> tuple[Values, Values, Values]:
    """Return times and ends of a 95 % band at every n-th second, so that it has at most `columns` points."""
    step = max(1, -(-len(t) // columns))
    half = COVERAGE_95 * u[::step]
    return t[::step], values[::step] - half, values[::step] + half


def known(values: Values) -> bool:
    """Tell whether there is any finite value."""
    return bool(np.isfinite(values).any())
