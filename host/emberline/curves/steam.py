"""What a load cell tells of the boil: heat that no longer warms the water drives steam off, and the loss rises."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from emberline.curves.knee import Witness
from emberline.curves.robust import profile

Array = NDArray[np.float64]

BEFORE_S, AFTER_S = 120, 90
"""Seconds around the boil in which the loss is looked at."""
LEAST_AFTER_S = 60
"""Seconds after it without which a smoothed rate tells no moment."""
SMOOTHED_S = 7.0
"""Width of a step of the loss in the smoothed rate, as a standard deviation."""
GROWTHS_S = (20.0, 30.0)
"""Times in which evaporation grows by a factor e as open water nears the boil, weighed alike: some 30 s at 5 K a minute
(the vapour pressure law near boiling), less where the water warms faster."""
EVERY_S = 3
"""Seconds between the rates and between the moments that are weighed: a smoothed rate tells no more."""
TOGETHER_S = 12.0
"""Seconds of smoothed rate, fire's flicker included, that count as one observation (ours)."""
SHAPE_COST = 1.5
"""Log likelihood that a rise of two shapes must gain over one of one shape (the Bayes information criterion with some
twenty observations)."""
LEAST_GAIN = 6.0
"""Log likelihood that a rise must gain over none to be a witness."""
SLIP = 0.05
"""Weight of a witness that is wrong altogether: a change of the fire at the same time."""


def steam_jump(loss_rate_g_s: Array, t_s: float) -> tuple[float, float] | None:
    """Return the mass loss rate before and after a moment, g/s, or None where either is not known."""
    k = int(t_s)
    before = loss_rate_g_s[max(0, k - 50) : max(0, k - 8)]
    after = loss_rate_g_s[k + 8 : k + 50]
    if np.isfinite(before).sum() < 10 or np.isfinite(after).sum() < 10:
        return None
    return float(np.nanmedian(before)), float(np.nanmedian(after))


def steam_witness(loss_rate_g_s: Array, around_s: int) -> Witness | None:
    """Say when the loss of all that stands on the cell rose to the steam of a boil.

    The loss before and after is a slope, the fire's own; at the boil it steps up, or an evaporation that grew until
    then stays, or both.

    Args:
        loss_rate_g_s: (n,) smoothed loss, one value a second from 0 s on; NaN where unknown.
        around_s: Where the boil is thought to be.

    Returns:
        The log likelihood of moments around it; None where the loss shows no rise, or was not watched for long enough.
    """
    low, high = max(0, around_s - BEFORE_S), min(len(loss_rate_g_s), around_s + AFTER_S)
    t = np.flatnonzero(np.isfinite(loss_rate_g_s[low:high])) + low
    if high - around_s < LEAST_AFTER_S or len(t) < 0.5 * (BEFORE_S + AFTER_S):
        return None
    t = t[::EVERY_S]
    y = loss_rate_g_s[t]
    moments = np.arange(around_s - 60.0, around_s + 31.0, EVERY_S)
    x = t[None, :] + 0.5 - moments[:, None]
    one, step = np.ones_like(x), ndtr(x / SMOOTHED_S)
    flat, _, _ = profile(np.stack((one, x / 60.0), axis=1), y)
    stepped, of_step, _ = profile(np.stack((one, x / 60.0, step), axis=1), y)
    # Steam adds to the loss.
    stepped = np.where(of_step[:, 2] > 0, stepped, flat)
    singles, boths = [], []
    for growth_s in GROWTHS_S:
        growth = step + _smoothed_growth(x, growth_s)
        grown, of_growth, _ = profile(np.stack((one, x / 60.0, growth), axis=1), y)
        both, of_both, _ = profile(np.stack((one, x / 60.0, step, growth), axis=1), y)
        singles.append(np.minimum(stepped, np.where(of_growth[:, 2] > 0, grown, flat)))
        boths.append(np.where((of_both[:, 2] >= 0) & (of_both[:, 3] >= 0), both, singles[-1]))
    per_log = 2.0 * TOGETHER_S / EVERY_S * float(np.min(boths)) / (len(t) - 4)
    if per_log <= 0.0:
        return None
    told = -np.minimum(np.array(singles) / per_log, np.array(boths) / per_log + SHAPE_COST)
    log_likelihood = np.logaddexp.reduce(told) - np.log(len(GROWTHS_S))
    best = float(log_likelihood.max())
    if float(flat.min()) / per_log + best < LEAST_GAIN:
        return None
    return Witness(moments, np.logaddexp(log_likelihood - best, np.log(SLIP)))


def _smoothed_growth(x_s: Array, growth_s: float) -> Array:
    """Return what smoothing makes of a growth by e in `growth_s` that ends at zero (a normal's moment function)."""
    ratio = SMOOTHED_S / growth_s
    return np.asarray(np.exp(np.minimum(x_s / growth_s, 4.0) + 0.5 * ratio**2) * ndtr(-x_s / SMOOTHED_S - ratio))
