"""What a pot of water tells of the end of flame: its heat dwindles, and the water that warmed or boiled begins to cool.

Water keeps account of its heat: its temperature's slope is the heat that reaches it, less its losses, over its heat
capacity. While a flame dies, that heat sinks from one level to that of glowing char, here along a straight line; the
slope sinks with it. What warmer water loses more is taken in proportion to its temperature. Where the fall begins and
ends is found by least squares over every pair of candidates.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.curves.robust import SlidingLines, mad_sd, profile

Array = NDArray[np.float64]

LEAST_HOT_C = 45.0
"""Temperature from which on water loses more than glowing char brings it, mostly (common practice, no source)."""
LEAST_FALL_K = 2.0
"""Fall of the water's temperature that no flicker of a fire gives."""
COOLED_SHARE = 0.2
"""Share of the fall seen by which the cooling is placed."""
BEFORE_S, AFTER_S = 600, 200
"""Seconds before and after that place that are looked at."""
EVERY_S = 5
"""Seconds between the temperatures and between the moments that are weighed."""
LEVEL_K, LEVEL_S = 1.0, 150
"""Water that stood for so long within so many kelvins of its highest had come to a level."""
LENGTHS_S = (10.0, 25.0, 50.0, 100.0, 200.0, 350.0)
"""Lengths of a flame's dying that are tried."""
LEAST_TURN_K_S = 0.006
"""Least change of the slope, 0.4 K a minute."""
TOGETHER = 6.0
"""Readings that count as one: a flame wavers over half a minute (ours)."""
LIVES_ON_S, U_LIVES_ON_S = 75.0, 140.0
"""Mean and standard deviation of the time by which a flame outlives the fall of its heat: none where a bed ends at
once, minutes where low flames dwindle over a heap and no longer reach the pot (simulations of three makers)."""
U_LENGTH_SHARE = 0.4
"""Standard uncertainty of the end of the fall, as a share of its length."""
STRETCH_S, FASTER = 90, 1.3
"""Seconds over which a later slope is taken, and by how much it may be steeper."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Where water over a dying fire turned to cooling.

    Attributes:
        t_s: The end of flame by it.
        u_s: Its standard uncertainty.
        before_k_s: Slope of the temperature before.
        after_k_s: Slope after.
    """

    t_s: float
    u_s: float
    before_k_s: float
    after_k_s: float


def turn_to_cooling(water_c: Array, begin: int, end: int) -> Turn | None:
    """Find where the water of a pot over the fire turned to cooling for good, or None.

    Args:
        water_c: (n,) temperature without spikes and flicker, one value a second, NaN where unknown.
        begin: First second in which the pot stood over the fire.
        end: Second in which it was lifted, or the record ends.
    """
    known = np.flatnonzero(np.isfinite(water_c[begin:end])) + begin
    if len(known) < BEFORE_S // 2:
        return None
    v = water_c[known]
    last_c, top_c = float(np.median(v[-10:])), float(np.quantile(v, 0.99))
    if top_c < LEAST_HOT_C or top_c - last_c < LEAST_FALL_K:
        return None
    cooled = int(known[np.flatnonzero(v > last_c + (1.0 - COOLED_SHARE) * (top_c - last_c))[-1]])
    # A ramp before boiling, or before a level at which losses ate the heat, is no part of the fire's dying.
    level = known[(known > cooled - BEFORE_S) & (water_c[known] > top_c - LEVEL_K)]
    since = int(level[0]) if len(level) and cooled - level[0] > LEVEL_S else cooled - BEFORE_S
    near = known[(known > since) & (known < cooled + AFTER_S)][::EVERY_S]
    t, y = near + 0.5, water_c[near]
    if len(t) < 30 or t[-1] - cooled < 30.0:
        return None
    onsets = np.arange(t[0] + 60.0, min(float(cooled), t[-1] - 40.0), EVERY_S)
    if len(onsets) == 0:
        return None
    lost = np.concatenate(([0.0], np.cumsum((y[:-1] - y[0]) * np.diff(t))))
    onset_of, length_of = (grid.ravel() for grid in np.meshgrid(onsets, LENGTHS_S, indexing="ij"))
    passed = np.maximum(t[None, :] - onset_of[:, None], 0.0)
    beyond = np.maximum(passed - length_of[:, None], 0.0)
    turning = (passed**2 - beyond**2) / (2.0 * length_of[:, None])
    shared = (np.broadcast_to(one, passed.shape) for one in (1.0, t - t[0], lost))
    design = np.stack((*shared, turning), axis=1)
    cost, coefficients, residual = profile(design, y)
    # Slopes where the flame begins to die: what warmer water loses more is the same on both sides.
    losing = coefficients[:, 2] * (np.interp(onset_of, t, y) - y[0])
    before, turned = coefficients[:, 1] + losing, coefficients[:, 3]
    allowed = (turned < -LEAST_TURN_K_S) & (before + turned < 0.0) & (onset_of + length_of < t[-1] - 20.0)
    if not allowed.any():
        return None
    cost = np.where(allowed, cost, np.inf)
    best = int(np.argmin(cost))
    noise = max(mad_sd(residual[best]), 0.03)
    weight = np.exp(-0.5 * (cost - cost[best]) / (noise**2 * TOGETHER))
    moment = onset_of + length_of
    mean_s = float(np.average(moment, weights=weight))
    spread_s = float(np.sqrt(np.average((moment - mean_s) ** 2, weights=weight)))
    # Over a flame that lives on, low, water cools slowly, and faster once that is gone too.
    later = np.arange(int(mean_s), end - STRETCH_S, EVERY_S)
    slopes = SlidingLines(water_c[:end]).window(later, later + STRETCH_S)[3]
    after = float(before[best] + turned[best])
    if np.isfinite(slopes).any() and float(np.nanmin(slopes)) < FASTER * after:
        return None
    length_s = float(np.average(length_of, weights=weight))
    u_s = float(np.linalg.norm([spread_s, U_LENGTH_SHARE * length_s, U_LIVES_ON_S]))
    return Turn(mean_s + LIVES_ON_S, u_s, float(before[best]), after)
