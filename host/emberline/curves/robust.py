"""Robust statistics on curves with gaps: outliers, noise and sliding lines, all without a Python loop."""

import itertools

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from emberline.curves.grid import MAD_TO_SD

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


STANDING_S = 60
"""Seconds for which a code stands before its middle counts as a reading."""


def median(values: Array | NDArray[np.intp]) -> float:
    """Return the median of some finite values, at least one; of few, numpy's own takes five times as long."""
    ordered, half = np.sort(values), len(values) // 2
    return float(0.5 * (ordered[half] + ordered[-1 - half]))


def quantile(values: Array, share: float) -> float:
    """Return what a share of some finite values lie below, on the line between two of them; see `median`."""
    ordered, at = np.sort(values), (len(values) - 1) * share
    low = int(at)
    part, a, b = at - low, float(ordered[low]), float(ordered[min(low + 1, len(values) - 1)])
    return a + (b - a) * part if part < 0.5 else b - (b - a) * (1.0 - part)


def mad_sd(values: Array) -> float:
    """Return the robust standard deviation (scaled median absolute deviation) of the finite values; 0 for none."""
    finite = values[np.isfinite(values)]
    if len(finite) == 0:
        return 0.0
    return MAD_TO_SD * median(np.abs(finite - median(finite)))


def without_spikes(values: Array, half_width: int = 3, limit: float = 6.0, floor: float = 0.0) -> Array:
    """Replace isolated outliers by NaN (a Hampel filter over the finite values; levels that persist are kept).

    Args:
        values: (n,) with NaN for gaps.
        half_width: Finite neighbours on each side that vote.
        limit: Distance from their median, in robust standard deviations, at which a value is an outlier.
        floor: Smallest standard deviation to believe, in the unit of the values.
    """
    where = np.flatnonzero(np.isfinite(values))
    if len(where) < 2 * half_width + 1:
        return values
    v = values[where]
    windows = _neighbours(v, half_width)
    # The middle of an odd number of values; numpy's median takes twice as long to find it.
    centre = np.partition(windows, half_width, axis=1)[:, half_width]
    spread = MAD_TO_SD * np.partition(np.abs(windows - centre[:, None]), half_width, axis=1)[:, half_width]
    scale = np.maximum(np.maximum(spread, floor), 0.3 * mad_sd(np.diff(v)))
    cleaned = values.copy()
    cleaned[where[np.abs(v - centre) > limit * np.maximum(scale, 1e-12)]] = np.nan
    return cleaned


def white_noise_sd(values: Array) -> float:
    """Return the standard deviation of white noise on a smooth curve, from its second differences.

    The second difference of white noise has six times its variance; a straight line has none.
    """
    v = values[np.isfinite(values)]
    if len(v) < 8:
        return 0.0
    return float(mad_sd(np.diff(v, 2)) / 6.0**0.5)


class SlidingLines:
    """Least-squares lines over every window of a curve, from running sums.

    `window(low, high)` gives, for arrays of half-open index windows, the number of finite points, their mean position,
    the line's value there and its slope.
    """

    def __init__(self, values: Array) -> None:
        good = np.isfinite(values)
        v = np.where(good, values, 0.0)
        # A common offset keeps the sums of squares small against the signal.
        self._offset = median(values[good]) if good.any() else 0.0
        v = np.where(good, v - self._offset, 0.0)
        t = np.arange(len(values), dtype=np.float64)
        weight = good.astype(np.float64)
        self._n = len(values)
        self._sums = tuple(
            np.concatenate(([0.0], np.cumsum(column)))
            for column in (weight, weight * t, weight * t * t, v, v * t, v * v)
        )

    def window(self, low: NDArray[np.int64], high: NDArray[np.int64]) -> tuple[Array, Array, Array, Array, Array]:
        """Fit the windows `[low, high)`, clipped to the curve.

        Returns:
            Count, mean position, mean value, slope and residual standard deviation of each window; slope and value are
            NaN where fewer than three points are finite.
        """
        low = np.minimum(np.maximum(low, 0), self._n)
        high = np.minimum(np.maximum(high, low), self._n)
        count, st, stt, sv, svt, svv = (sums[high] - sums[low] for sums in self._sums)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean_t = st / count
            mean_v = sv / count
            var_t = stt - count * mean_t**2
            slope = (svt - count * mean_t * mean_v) / var_t
            residual = svv - count * mean_v**2 - slope**2 * var_t
            sd = np.sqrt(np.maximum(residual, 0.0) / np.maximum(count - 2, 1))
        few = (count < 3) | (var_t <= 0)
        slope[few] = np.nan
        mean_v = np.where(few, np.nan, mean_v + self._offset)
        return count, mean_t, mean_v, slope, sd


def code_step(values: Array) -> float:
    """Return the step of a curve's codes where it moves in codes, else a distance below its noise."""
    levels = np.unique(values[np.isfinite(values)])
    return quantile(np.diff(levels), 0.1) if len(levels) > 4 else 0.0


def between_codes(values: Array) -> Array:
    """Keep of a staircase what it tells: the moments of its steps, at the height between the two codes.

    A balance that shows whole grams says nothing new while its code stands; where the code changes, the load was half
    way. Read as it stands, the staircase would look like a load that rests and jumps. Long stretches without a step
    keep one reading in their middle. Curves whose noise moves them between codes are returned as they are.
    """
    where = np.flatnonzero(np.isfinite(values))
    if len(where) < 20:
        return values
    v = values[where]
    change = np.diff(v) != 0.0
    if change.mean() > 0.4:
        return values
    kept = np.full(len(values), np.nan)
    at = np.flatnonzero(change)
    kept[where[at + 1]] = 0.5 * (v[at] + v[at + 1])
    edges = np.concatenate(([0], at + 1, [len(v)]))
    for low, high in itertools.pairwise(edges):
        if where[high - 1] - where[low] > STANDING_S:
            middle = (low + high) // 2
            kept[where[middle]] = v[middle]
    kept[where[0]], kept[where[-1]] = v[0], v[-1]
    return kept


def local_scale(values: Array, half_width: int = 120, step: int = 20) -> Array:
    """Return a slowly varying robust standard deviation of a zero-mean curve, (n,); NaN where nothing is known."""
    n = len(values)
    if n == 0:
        return np.zeros(0)
    padded = np.pad(np.abs(values), half_width, constant_values=np.nan)
    windows = np.sort(sliding_window_view(padded, 2 * half_width)[::step], axis=1)
    count = np.isfinite(windows).sum(axis=1)
    rows = np.arange(len(windows))
    scales = (
        MAD_TO_SD
        * 0.5
        * (windows[rows, np.maximum(count - 1, 0) // 2] + windows[rows, np.minimum(count // 2, 2 * half_width - 1)])
    )
    known = count >= 10
    if not known.any():
        return np.full(n, np.nan)
    return np.asarray(np.interp(np.arange(n), (rows * step)[known], scales[known]))


def running_median(values: Array, half_width: int) -> Array:
    """Return the median of each value and of its neighbours on both sides, (n,); ends count for what lies beyond."""
    if len(values) == 0:
        return np.zeros(0)
    return np.asarray(np.partition(_neighbours(values, half_width), half_width, axis=1)[:, half_width])


def _neighbours(values: Array, half_width: int) -> Array:
    """Return each value with its neighbours on both sides, (n, 2 half_width + 1); ends count for what lies beyond.

    A view, made by hand: numpy's own ways to pad and to slide take five times as long.
    """
    before, after = np.full(half_width, values[0]), np.full(half_width, values[-1])
    padded = np.concatenate((before, values, after))
    return np.ndarray((len(values), 2 * half_width + 1), padded.dtype, padded, strides=2 * padded.strides)


def profile(rows: Array, values: Array) -> tuple[Array, Array, Array]:
    """Fit one linear model per candidate, all at once.

    Args:
        rows: (k, p, m) what each of `k` candidates sums: `p` courses of `m` values.
        values: (m,) finite observations.

    Returns:
        (k,) sums of squared residuals, (k, p) coefficients and (k, m) residuals.
    """
    gram = rows @ np.swapaxes(rows, 1, 2)
    scale = np.sqrt(np.einsum("kpp->kp", gram) / rows.shape[2])
    scale[scale == 0.0] = 1.0
    gram /= scale[:, :, None] * scale[:, None, :]
    right = (rows @ values) / scale
    # A whisper of ridge keeps candidates whose courses coincide solvable; they are never the best.
    gram += 1e-9 * len(values) * np.eye(rows.shape[1])
    coefficients = np.linalg.solve(gram, right[:, :, None])[:, :, 0] / scale
    residual = values[None, :] - (coefficients[:, None, :] @ rows)[:, 0]
    return np.einsum("km,km->k", residual, residual), coefficients, residual


def runs(mask: Mask) -> list[tuple[int, int]]:
    """Return the half-open runs of True in a mask."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
