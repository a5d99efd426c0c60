"""When a probe that hangs in a pot has come out of its water: it cools faster than water can."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emberline.curves.loads import Stay
from emberline.curves.mass_steps import MassStep
from emberline.curves.robust import runs

Array = NDArray[np.float64]

WITHIN_S = 16
"""Seconds over which a fall counts: codes and bubbles move a reading for shorter."""
FALL_K = 5.0
"""Fall within that time which is no water's: a quarter of a litre that loses 400 W, by vapour near boiling and through
its wall, falls by 4 K (handbook ranges, from memory), and more water by less."""
BACK_K = 3.0
"""Distance from what it read before within which a probe is back in the water."""
POURED_S = 20.0
"""Distance of an addition by hand: cold water that is poured in is a fall of the water's own."""


def without_air(water_c: Array, stays: Sequence[Stay], steps: Sequence[MassStep]) -> Array:
    """Return the water's temperature without what its probe read out of the water, (n,).

    Args:
        water_c: (n,) smoothed readings, NaN where unknown.
        stays: The stays of the pot; its probe may hang anywhere while it is lifted.
        steps: Changes of load.
    """
    n = len(water_c)
    read_c = water_c.copy()
    for stay in stays:
        on_s, off_s = (int(moment_s) for moment_s in stay.window(float(n)))
        low, high = on_s + WITHIN_S, min(off_s, n) - WITHIN_S
        if high - low <= WITHIN_S:
            continue
        with np.errstate(invalid="ignore"):
            falls = water_c[low + WITHIN_S : high] - water_c[low : high - WITHIN_S] < -FALL_K
        for begin, _ in runs(falls):
            out_s = begin + low
            if np.isnan(read_c[out_s]) or any(abs(step.t_s - out_s) <= POURED_S for step in steps):
                continue
            before_c = float(np.nanmax(water_c[out_s - WITHIN_S : out_s + 1]))
            back = np.flatnonzero(water_c[out_s + WITHIN_S : off_s] > before_c - BACK_K)
            back_s = out_s + WITHIN_S + int(back[0]) if len(back) else off_s
            read_c[out_s:back_s] = np.nan
    return read_c
