"""The share of a load's loss that is water where no probe tells how warm the water is."""

import math

from uncertainties import UFloat

from emberline.curves.loads import Stay

BLIND_SHARE, BLIND_SHARE_U = 0.33, 0.19
"""That share with its standard uncertainty where nothing is known of the pot: anything between none and `MOST_SHARE`
(JCGM 100:2008, 4.3.7)."""
MOST_SHARE = 0.65
"""The largest: that of a gram of fuel which raises 1.9 grams of steam."""
LEAST_U = 0.05
"""Least standard uncertainty of a share that an earlier stay has told: fire and pot change between (no source)."""
SURE = 0.1
"""Largest standard uncertainty of the water of an earlier stay, over the loss, with which it tells anything."""
SAME_POT = 0.03
"""Share of its weight by which a pot set back may differ from what was lifted, if somebody only looked into it."""


def looked_into(before: Stay, after: Stay) -> bool:
    """Tell whether the pot of a stay is that of the stay before with the same water, still warm."""
    off, on = before.off, after.on
    if off is None or on is None or not (off.sized and on.sized):
        return False
    return abs(float((on.size_g + off.size_g).nominal_value)) <= SAME_POT * float(on.size_g.nominal_value)


def share_after_look(water_g: UFloat, loss_g: float) -> tuple[float, float]:
    """Return the share after a look into the pot, with its standard uncertainty.

    The water has only become hotter since: anything between what it was during the stay before and the largest
    (JCGM 100:2008, 4.3.7).

    Args:
        water_g: What the pot lost during the stay before.
        loss_g: What the load cell lost meanwhile.
    """
    if not loss_g > 0.0 or float(water_g.std_dev) > SURE * loss_g:
        return BLIND_SHARE, BLIND_SHARE_U
    low = min(max(float(water_g.nominal_value) / loss_g, 0.0), 1.0)
    high = max(low, MOST_SHARE)
    return 0.5 * (low + high), max((high - low) / math.sqrt(12.0), LEAST_U)
