"""Burns of two regimes whose end is known: burning rates and flame probes made from their formulas."""

import numpy as np
from numpy.typing import NDArray

from column_fixture import column, seconds
from emberline.curves.grid import Column

Array = NDArray[np.float64]

LEVEL_G_S, TAIL_G_S = 0.15, 0.012
LIT_S, FALL_S = 60.0, 900.0


def correlated(n: int, sd: float, lasting_s: float, seed: int) -> Array:
    rng = np.random.default_rng(seed)
    memory = np.exp(-1.0 / lasting_s)
    out = np.zeros(n)
    for i in range(1, n):
        out[i] = memory * out[i - 1] + rng.normal(0.0, sd * (1.0 - memory**2) ** 0.5)
    return out


def rates(n: int = 1500, *, falls_over_s: float = 60.0, tail_g_s: float = TAIL_G_S, seed: int = 1) -> Array:
    """Kindling, an even flame that wanders, a straight fall from 900 s on, glowing char."""
    moments = [LIT_S, LIT_S + 90.0, FALL_S, FALL_S + falls_over_s]
    shape = np.interp(seconds(n), moments, [0.0, LEVEL_G_S, LEVEL_G_S, tail_g_s], left=0.0)
    return shape * (1.0 + correlated(n, 0.05, 20.0, seed))


def passes_s(share: float, falls_over_s: float = 60.0, tail_g_s: float = TAIL_G_S) -> float:
    """When the rate passes a share of its flaming level."""
    return FALL_S + falls_over_s * (LEVEL_G_S - share * LEVEL_G_S) / (LEVEL_G_S - tail_g_s)


def probe(n: int = 1500, *, ends_s: float = 950.0, lag_s: float = 4.0, after_c: float = 430.0, seed: int = 2) -> Column:
    """A bead in a flickering flame of 600 degrees, then over calm glow."""
    t = seconds(n)
    since = np.maximum(t - ends_s, 0.0)
    flame = np.where(t < LIT_S, 18.0, 600.0 - 582.0 * np.exp(-np.maximum(t - LIT_S, 0.0) / 8.0))
    value = np.where(t < ends_s, flame, after_c + (600.0 - after_c) * np.exp(-since / lag_s))
    flicker = np.where((t > LIT_S) & (t < ends_s), correlated(n, 30.0, 3.0, seed), correlated(n, 4.0, 3.0, seed + 1))
    return column(value + flicker)
