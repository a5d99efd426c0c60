"""The steam that a pot's own heat raises: hot water that cools gives off what its heat evaporates.

Once the flame is out, glowing char gives a pot little, and most of what leaves it leaves on the heat that it had.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emberline.bench.water import latent_heat_j_g
from emberline.curves.robust import SlidingLines

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

AROUND_S = 30
"""Seconds to either side over which a slope of the water's temperature is taken: the codes of a probe are as long."""


def steam_of_cooling_g_s(water_c: Array, stretches: Sequence[Mask], capacity_j_k: Array) -> Array:
    """Return the steam that pot and water could raise by cooling, (n,) g/s; negative while they warm.

    `-C dT/dt / L`: the heat balance of the pot without what comes from the fire and what leaks through the wall.

    Args:
        water_c: (n,) water temperature, NaN where it is not known.
        stretches: Seconds across whose borders no slope is taken, (n,) each: a ramp bends where it boils.
        capacity_j_k: (n,) heat capacity of the water that is left and of the pot.
    """
    at = np.arange(len(water_c))
    steam = np.zeros(len(water_c))
    for stretch in stretches:
        _, _, mean_c, slope_k_s, _ = SlidingLines(np.where(stretch, water_c, np.nan)).window(
            at - AROUND_S, at + AROUND_S + 1
        )
        known = stretch & np.isfinite(slope_k_s)
        latent_j_g = latent_heat_j_g(np.clip(np.where(known, mean_c, 100.0), 1.0, 110.0))
        steam[known] = (-capacity_j_k * slope_k_s / latent_j_g)[known]
    return steam
