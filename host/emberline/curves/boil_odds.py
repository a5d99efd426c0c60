"""How far each witness speaks for a boil and against a stall: log ratios of likelihoods, to be added up.

A *stall* is a pot whose losses eat its input, or whose fire pauses: its temperature stands still, and it does not boil.
The widths below are ours: what pots of three independent simulations showed, rounded.
"""

import numpy as np
from uncertainties import UFloat

PRIOR = 1.6
"""Log odds that water which stands still within reach of its boiling point boils: five to one, most pots do."""
HIGHLANDS = -1.6
"""Log odds that a place of which nobody said how high it lies is a high one: one in six (ours)."""
SURE = float(np.log(19.0))
"""Log odds of 95 %."""
STALL_RANGE_K = 15.0
"""A stall may stand anywhere in this range."""
WORSE_K, WORSE_SHARE = 2.5, 0.02
"""A probe may be worse than its class: by how much as a standard deviation, and how often."""
BOIL_SHARPNESS, STALL_SHARPNESS = (0.75, 0.17), (0.35, 0.13)
"""Means and standard deviations of the sharpness. An exponential approach has 0.24: slopes are in proportion to the
distance left, here 1.5 to 4 K against 8 to 15 K."""
PAUSE_SHARPNESS, PAUSE_SHARE = (0.8, 0.2), 0.15
"""The same of a ramp whose fire pauses, and how many stalls are pauses."""
BOIL_JUMP, STALL_JUMP = (0.8, 0.4), (0.1, 0.15)
"""Means and standard deviations of the rise of the mass loss over what it was before."""


def level_odds(level_c: float, boiling_point_c: UFloat, u_bias_k: float) -> float:
    """Return what the plateau's level says, given the uncertainties of the probe and of the boiling point."""
    away = level_c - boiling_point_c.nominal_value
    u = float(np.hypot(u_bias_k, boiling_point_c.std_dev))
    boils = _either(_normal(away, 0.0, u), _normal(away, 0.0, WORSE_K), WORSE_SHARE)
    return boils + float(np.log(STALL_RANGE_K))


def sharpness_odds(sharpness: float) -> float:
    """Return what the shape of the ramp's end says; 0 where it is not known (NaN)."""
    if not np.isfinite(sharpness):
        return 0.0
    # A ramp that quickens towards its end tells no more than a straight one.
    shape = min(sharpness, 0.95)
    boils = _either(_normal(shape, *BOIL_SHARPNESS), 0.0, 0.03)
    return boils - _either(_normal(shape, *STALL_SHARPNESS), _normal(shape, *PAUSE_SHARPNESS), PAUSE_SHARE)


def steam_odds(jump: tuple[float, float] | None) -> float:
    """Return what the mass loss before and after says; 0 where no load cell tells."""
    if jump is None:
        return 0.0
    rise = float(np.clip((jump[1] - jump[0]) / max(jump[0], 0.03), -0.5, BOIL_JUMP[0]))
    # Anything can happen to a fire at the same time: evenly spread over a range of 1.4.
    anything = -float(np.log(1.4))
    return _either(_normal(rise, *BOIL_JUMP), anything, 0.1) - _either(_normal(rise, *STALL_JUMP), anything, 0.03)


def _normal(x: float, mean: float, sd: float) -> float:
    """Return the logarithm of a normal density."""
    return float(-0.5 * ((x - mean) / sd) ** 2 - np.log(sd * np.sqrt(2.0 * np.pi)))


def _either(usual: float, rare: float, share: float) -> float:
    """Return the log density of a mixture."""
    return float(np.logaddexp(np.log1p(-share) + usual, np.log(share) + rare))
