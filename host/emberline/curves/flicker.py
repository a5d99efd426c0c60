"""How a flame probe flickers: a flame does to its last second, glowing char hardly does.

What counts is how readings bend from three seconds to the next three, whatever the slower course of the temperature.
"""

import numpy as np
from numpy.typing import NDArray

from emberline.curves.fast_loss import LEAST_FLAMING_S
from emberline.curves.grid import Column
from emberline.curves.robust import mad_sd, runs, without_spikes

Array = NDArray[np.float64]

FLAME_C = 200.0
"""Temperature below which a probe never stood in a flame."""
CALM_SHARE, CALM_K = 0.6, 3.0
"""Most scatter of an afterglow: a share of the flame's, and what a slow probe's own noise may add."""
FLICKERS_S, UNCLEAR_S = 90.0, 5.0
"""Seconds of flame whose flicker is looked at, and seconds beside a fall that belong to neither side."""
FLICKER_S = 31
"""Readings from which the flicker around a moment is taken."""
LEAST_FLICKER_K = 0.1
"""Least flicker of a flame, below that of any converter's codes."""
HOT_S = 300.0
"""Seconds before and after a moment from which it is told whether a flame flickers on."""
FLICKERS_SHARE = 0.5
"""Share of the flame's flicker above which a probe still stands in a flame, however low."""
STILL_SHARE = 0.33
"""Share of the flame's flicker below which a stretch before the last fall is sure to be afterglow: 0.03 to 0.31 in
afterglow, 0.47 and more where a flame dwindled (simulated burns of two makers)."""
UNSURE_SHARE = 0.25
"""The same from which on it may be a flame that dwindled, if no great fall began it."""
LOOSE_K, LOOSE_STILL_K = 150.0, 3.0
"""Fall from one reading to the next, and rise back, of a probe whose lead came loose, and the most that it moves
between them, where it reads its converter's own temperature."""

HUNG_S, HUNG_FROM = 20, 60
"""Equal readings, one after the other, that are a converter's and no flame's; and readings before, that flickered."""


def still_flickers(flame: Column, lit_s: float | None, since_s: float) -> bool:
    """Tell whether a flame probe flickers on after a moment as it did in flame before it; False where it cannot tell.

    Args:
        flame: The flame probe's column.
        lit_s: When the fuel caught; None where the record began mid-burn.
        since_s: The moment.
    """
    before, after = _around(flame, (max(lit_s or 0.0, since_s - HOT_S), since_s), (since_s, since_s + HOT_S))
    if len(before) < LEAST_FLAMING_S or len(after) < FLICKER_S or float(np.median(after)) < FLAME_C:
        return False
    return flicker(after) > FLICKERS_SHARE * max(flicker(before), LEAST_FLICKER_K)


def flickers_yet(flame: Column, out_s: float) -> bool:
    """Tell whether a probe has flickered more since its flame seemed to end than glowing char does, however cool it is.

    Args:
        flame: The flame probe's column up to now.
        out_s: When the flame seemed to end.
    """
    before, after = _around(
        flame, (out_s - FLICKERS_S - UNCLEAR_S, out_s - UNCLEAR_S), (out_s + 2.0 * UNCLEAR_S, float(len(flame)))
    )
    left_k = flicker(after)
    return left_k > CALM_K and left_k > UNSURE_SHARE * flicker(before)


def _around(flame: Column, before_s: tuple[float, float], after_s: tuple[float, float]) -> tuple[Array, Array]:
    """Return a flame probe's readings in two stretches."""
    value = cleaned(flame)
    known = np.isfinite(value)
    before, after = (value[known & (flame.t_s >= low) & (flame.t_s < high)] for low, high in (before_s, after_s))
    return before, after


def cleaned(flame: Column) -> Array:
    """Return a flame probe's readings without spikes and without what a loose lead or a hung converter said."""
    return without_spikes(without_hung(without_loose_lead(flame.value)), floor=3.0)


def without_hung(value_c: Array) -> Array:
    """Replace by NaN the stretches in which a converter hung or was at its end: no flame stands still to the code."""
    where = np.flatnonzero(np.isfinite(value_c))
    v = value_c[where]
    left = value_c.copy()
    for begin, end in runs(np.diff(v) == 0.0):
        # Char may rest on a coarse code; nothing does so from one reading to the next after flickering.
        if end - begin >= HUNG_S and v[begin] > FLAME_C and flicker(v[max(0, begin - HUNG_FROM) : begin]) > CALM_K:
            left[where[begin : end + 1]] = np.nan
    return left


def without_loose_lead(value_c: Array) -> Array:
    """Replace by NaN the stretches in which a probe fell out of a flame at once, stood still, and was back at once."""
    where = np.flatnonzero(np.isfinite(value_c))
    v = value_c[where]
    change = np.diff(v)
    rises = np.flatnonzero(change > LOOSE_K)
    cleaned = value_c.copy()
    for fall in np.flatnonzero(change < -LOOSE_K):
        back = rises[rises > fall]
        if len(back) and np.ptp(v[fall + 1 : back[0] + 1]) < LOOSE_STILL_K:
            cleaned[where[fall + 1 : back[0] + 1]] = np.nan
    return cleaned


def flicker(v: Array) -> float:
    """Return how much a curve flickers from three readings to the next three, whatever its slower course."""
    return mad_sd(v[6:] - 2.0 * v[3:-3] + v[:-6]) if len(v) > 12 else float("nan")
