"""The end of fast mass loss under a pot whose steam nobody could take off the rate.

A hot pot goes on steaming after the flame: what is left then is no small level tail, but much of what was lost before,
and it dies away as the pot cools. The decline is a straight fall that ends at a foot, from which on the rate sinks
exponentially. It is looked for where the rate left its flaming level for good.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emberline.curves.fast_loss import (
    LEAST_BURNT_G,
    LEAST_FLAMING_S,
    LEAST_RATE_G_S,
    LEAST_RELIGHT_S,
    RECOVERY_SHARE,
    Fall,
    last_level,
    steadied,
)
from emberline.curves.robust import profile

Array = NDArray[np.float64]

LEAVES_SHARE = 0.85
"""Share of the flaming level below which the rate stays once the fire dies."""
MOST_SHARE = 0.7
"""Largest share of the flaming level that steam and char may leave: of the loss over a fire up to 0.65 may be steam."""
COOLING_S = (300.0, 900.0)
"""Times in which the steam of a cooling pot falls by a factor e (common practice, no source)."""
BEFORE_S = 180
"""Seconds before it left from which the last flaming level is taken."""
LONGEST_S = 1_800
"""Seconds from there that are looked at."""
HIDDEN_S = 60.0
"""By how much the steam blurs the foot: the middle half of 26 simulated burns lay within it (ours)."""
LEAST_SEEN_S = 150.0
"""Seconds of tail without which nothing is said: a lull of the fire is over by then."""
STEEPER = 3.0
"""By how much the fall is steeper than what follows."""
EVERY_S = 5
"""Seconds between the rates and between the moments that are weighed."""


def veiled_fall(rate_g_s: Array, lit_s: float | None, refuels_s: Sequence[float], until_s: float) -> Fall | None:
    """Find the foot of the last fall onto a tail of steam that dies away, or None.

    Args:
        rate_g_s: (n,) rate of loss, steam included where nobody could take it off; NaN where unknown.
        lit_s: When the fuel caught; None where the record began mid-burn.
        refuels_s: Moments of refuelling.
        until_s: When the pot was lifted, or the record's end.
    """
    begin, end = int(lit_s or 0), int(until_s)
    level = last_level(rate_g_s, begin, refuels_s)
    if level < LEAST_RATE_G_S or np.isfinite(rate_g_s[begin:end]).sum() < LEAST_FLAMING_S:
        return None
    steady = steadied(rate_g_s)
    flaming = steady[begin:end] > RECOVERY_SHARE * level
    if flaming.sum() < LEAST_FLAMING_S or float(steady[begin:end][flaming].sum()) < LEAST_BURNT_G:
        return None
    if (steady[end:] > RECOVERY_SHARE * level).sum() > LEAST_RELIGHT_S:
        return None  # it burnt on without the pot
    left = begin + int(np.flatnonzero(steady[begin:end] > LEAVES_SHARE * level)[-1])
    t = np.arange(left, min(end, left + LONGEST_S), EVERY_S) + 0.5
    feet = np.arange(left + 2.0 * EVERY_S, t[-1] - LEAST_SEEN_S, EVERY_S)
    if len(feet) == 0:
        return None
    rate = steady[t.astype(int)]
    # Where a pot steamed on for long, the level of the whole burn is low by that.
    high = max(level, float(np.median(steady[max(begin, left - BEFORE_S) : left + 1])))
    ahead, passed = (np.maximum(way * (feet[:, None] - t[None, :]), 0.0) for way in (1.0, -1.0))
    found, lowest = (0.0, 0.0), np.inf
    for cooling_s in COOLING_S:
        cost, of, _ = profile(np.stack((np.ones_like(ahead), ahead, np.exp(-passed / cooling_s) - 1.0), axis=1), rate)
        sinks_on = of[:, 2] / cooling_s
        falls = (of[:, 1] > STEEPER * sinks_on) & (sinks_on >= 0.0) & (of[:, 0] < MOST_SHARE * high)
        cost[~falls] = np.inf
        at = int(np.argmin(cost))
        if cost[at] < lowest:
            found, lowest = (float(feet[at]), float(of[at, 0])), float(cost[at])
    foot_s, tail_g_s = found
    if not np.isfinite(lowest):
        return None
    return Fall(float(left), foot_s, foot_s, level, tail_g_s, float(t[-1]) - foot_s, foot_s, HIDDEN_S, True)
