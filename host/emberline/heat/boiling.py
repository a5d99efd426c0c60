"""Which seconds of a stay the pot's water boils."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

WITHIN_K = 1.5
"""Distance below its plateau from which on water does not boil any more (common practice, no source)."""
_PLATEAU_S = (5, 65)


def boiling_seconds(water_c: Array, boils_s: Sequence[float], since_s: float, inside: Mask) -> Mask:
    """Return the seconds in which the water boils: from the boil on, while it stays close to its plateau, (n,).

    Water that has boiled in an earlier stay boils again as soon as it is as hot; no ramp tells when.

    Args:
        water_c: (n,) water temperature, NaN where it is not known.
        boils_s: When it came to the boil, in this stay and those before it.
        since_s: When the stay began.
        inside: (n,) seconds of the stay.
    """
    t = np.arange(len(water_c)) + 0.5
    here_s = next((boil_s for boil_s in boils_s if boil_s >= since_s), np.inf)
    after = inside & (t >= here_s)
    boiled_before = bool(boils_s) and boils_s[0] < since_s
    level = water_c[(t >= boils_s[0]) if boiled_before else after][slice(*_PLATEAU_S)]
    if not np.isfinite(level).any():
        return np.asarray(after)
    least_c = float(np.nanmedian(level)) - WITHIN_K
    boiling = after & ~(water_c < least_c)
    return np.asarray(boiling | (inside & (water_c >= least_c)) if boiled_before else boiling)
