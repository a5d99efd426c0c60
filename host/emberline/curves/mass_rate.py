"""Mass-loss rates as fire laboratories define them: the five-point rule and the 10 % to 90 % rule of ISO 5660-1.

The service's own burning rate comes from a smoother with an uncertainty of its own; these two make its figures
comparable with published burns.
"""

import numpy as np
from numpy.typing import NDArray

FIVE_POINT_NOISE_GAIN = float(np.sqrt(2 * (1 + 8**2)) / 12)
"""Noise of an interior rate over white noise of the masses, times the spacing (0.950)."""


class MassRateError(ValueError):
    """The mass curve does not allow the rate that was asked for."""


def five_point_rate(mass_g: NDArray[np.float64], dt_s: float) -> NDArray[np.float64]:
    """Mass-loss rate by the five-point rule of ISO 5660-1 (equations from memory; exact up to the fourth order).

    Args:
        mass_g: (n,) masses at uniform spacing, n >= 5. A NaN makes the rates that need it NaN.
        dt_s: Spacing, seconds. Noise grows with its inverse: 5 s is usual, 1 s useless on a stove's load cell.

    Returns:
        (n,) loss rate in g/s, positive while mass is lost.

    Raises:
        MassRateError: Fewer than five masses, or a spacing that is not positive.
    """
    m = np.asarray(mass_g, dtype=np.float64)
    if m.ndim != 1 or len(m) < 5:
        raise MassRateError("the five-point rule needs a row of at least five masses")
    if not dt_s > 0:
        raise MassRateError(f"the spacing of the masses must be positive, not {dt_s} s")
    rate = np.empty_like(m)
    rate[0] = 25 * m[0] - 48 * m[1] + 36 * m[2] - 16 * m[3] + 3 * m[4]
    rate[1] = 3 * m[0] + 10 * m[1] - 18 * m[2] + 6 * m[3] - m[4]
    rate[2:-2] = -m[:-4] + 8 * m[1:-3] - 8 * m[3:-1] + m[4:]
    rate[-2] = -3 * m[-1] - 10 * m[-2] + 18 * m[-3] - 6 * m[-4] + m[-5]
    rate[-1] = -25 * m[-1] + 48 * m[-2] - 36 * m[-3] + 16 * m[-4] - 3 * m[-5]
    return rate / (12 * dt_s)


def block_means(values: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """Mean of each whole block of `size` values; NaN where fewer than half of a block are known.

    Args:
        values: (n,) values at uniform spacing, NaN where unknown.
        size: Values in a block; the rest at the end that fills no block is left out.
    """
    whole = len(values) // size
    blocks = values[: whole * size].reshape(whole, size)
    known = np.isfinite(blocks)
    count = known.sum(axis=1)
    sums = np.where(known, blocks, 0.0).sum(axis=1)
    return np.where(2 * count >= size, sums / np.maximum(count, 1), np.nan)


def window_10_90(t_s: NDArray[np.float64], mass_g: NDArray[np.float64]) -> tuple[float, float]:
    """Moments at which 10 % and 90 % of the whole mass loss of a curve have gone (ISO 5660-1, from memory).

    The whole loss runs from the first to the last known mass. Where noise crosses a level more than once, the moment
    is the middle between the first mass below it and the last above it.

    Args:
        t_s: (n,) times, increasing.
        mass_g: (n,) masses; NaN is left out.

    Raises:
        MassRateError: Fewer than five known masses, or no loss between the ends.
    """
    known = np.isfinite(mass_g) & np.isfinite(t_s)
    t, m = t_s[known], mass_g[known]
    if len(m) < 5:
        raise MassRateError("the 10 % to 90 % rule needs at least five known masses")
    loss = m[0] - m[-1]
    if not loss > 0:
        raise MassRateError("the mass does not fall from the start to the end of the curve")
    return _crossing(t, m, m[0] - 0.1 * loss), _crossing(t, m, m[0] - 0.9 * loss)


def rate_10_90(t_s: NDArray[np.float64], mass_g: NDArray[np.float64]) -> float:
    """Mean loss rate in g/s between 10 % and 90 % of the whole loss, immune to the curve's ragged ends.

    Arguments and errors are those of `window_10_90`.
    """
    start_s, end_s = window_10_90(t_s, mass_g)
    if not end_s > start_s:
        raise MassRateError("the mass falls in one step: no rate can be told")
    known = np.isfinite(mass_g) & np.isfinite(t_s)
    m = mass_g[known]
    return float(0.8 * (m[0] - m[-1]) / (end_s - start_s))


def _crossing(t_s: NDArray[np.float64], mass_g: NDArray[np.float64], level_g: float) -> float:
    """Moment at which falling masses pass a level, between the first pass and the last."""
    first_below = int(np.argmax(mass_g < level_g))
    last_above = len(mass_g) - 1 - int(np.argmax(mass_g[::-1] >= level_g))
    return 0.5 * (_between(t_s, mass_g, first_below - 1, level_g) + _between(t_s, mass_g, last_above, level_g))


def _between(t_s: NDArray[np.float64], mass_g: NDArray[np.float64], i: int, level_g: float) -> float:
    """Moment of the level on the straight line from mass `i` to the next."""
    fall = mass_g[i] - mass_g[i + 1]
    return float(t_s[i] + (t_s[i + 1] - t_s[i]) * (mass_g[i] - level_g) / fall)
