"""A pot that boils beside the load cell, on a stand of its own: with one cell, the way to see the fuel alone.

What warmed the water until it boiled drives steam off it from then on. If the loss does not rise by that steam while
the fire burns on, the pot's water is not on the cell.
"""

import numpy as np
from numpy.typing import NDArray

from emberline.bench.water import latent_heat_j_g
from emberline.curves.steam import steam_jump

Array = NDArray[np.float64]

RAMP_S = (60, 10)
"""From how long before the boil to how long before it the water's warming is read."""
SEEN_SHARE = 0.3
"""Share of the expected steam below which none of it is seen (no source)."""
LEAST_SHARE = 0.3
"""Least expected steam, as a share of the loss before the boil, that the fire's own wander does not hide (no
source)."""
BURNS_ON = 0.85
"""Least share of the loss before the boil that is left after it where the fire did not die then (no source)."""


def boils_beside(loss_rate_g_s: Array, water_c: Array, boil_s: float, capacity_j_k: float) -> bool:
    """Tell whether a pot that boils takes nothing off a load cell.

    Args:
        loss_rate_g_s: (n,) smoothed loss of all that stands on the cell; NaN where unknown.
        water_c: (n,) smoothed water temperature, likewise.
        boil_s: When it boiled.
        capacity_j_k: Heat capacity of the water and its pot.
    """
    losses = steam_jump(loss_rate_g_s, boil_s)
    begin, end = (max(0, int(boil_s) - before_s) for before_s in RAMP_S)
    t = np.flatnonzero(np.isfinite(water_c[begin:end])) + begin
    if losses is None or len(t) < (end - begin) // 2 or len(t) < 2:
        return False
    before, after = losses
    steam = capacity_j_k * float(np.polyfit(t, water_c[t], 1)[0]) / float(latent_heat_j_g(float(water_c[t[-1]])))
    return before > 0.0 and steam > LEAST_SHARE * before and BURNS_ON * before < after < before + SEEN_SHARE * steam
