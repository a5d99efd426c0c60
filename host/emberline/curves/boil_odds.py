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
BRISK_SHARPNESS, FAINT_SHARPNESS, STALL_SHARPNESS = (0.75, 0.17), (0.5, 0.17), (0.35, 0.13)
"""Means and standard deviations of the sharpness: of a boil whose heat is far more than the pot loses, of one whose
heat just suffices, and of a pot whose losses eat it. An exponential approach has 0.24: slopes are in proportion to the
distance left, here 1.5 to 4 K against 8 to 15 K. Open water, whose evaporation soars near boiling, comes to a stand at
0.5 to 0.6 whether that is half a kelvin below boiling or three: there the level decides."""
BRISK_RISE, FAINT_RISE, STALL_RISE = (0.8, 0.4), (0.15, 0.2), (0.1, 0.15)
"""The same of the rise of the mass loss over what it was before. Where the end is soft, steam took over by and by."""
FAINT_SHARE = 0.15
"""How many boils are faint."""
PAUSE_SHARPNESS, PAUSE_RISE, PAUSE_SHARE = (0.8, 0.2), (-0.3, 0.3), 0.15
"""The same of a ramp whose fire pauses, and loses less for that, and how many stalls are pauses."""
ANY_BOIL, ANY_STALL = 0.1, 0.03
"""How often the fire changes at the same time, so that the rise may be anything in a range of 1.4."""
LEAST_RISE, MOST_RISE = -0.5, 0.8
BOIL_WANDER, STALL_WANDER = (0.045, 0.5), (0.17, 0.7)
"""Medians, K, and standard deviations of the logarithm, of the wander of a plateau's temperature: boiling water keeps
it whatever the fire does."""
UNSTEADY_SHARE, STILL_SHARE = 0.15, 0.1
"""How many boils wander as stalls do, where the probe hangs loose (a published kettle), and how many stalls are as
still as boils, over a fire that never wavers."""


def level_odds(level_c: float, boiling_point_c: UFloat, u_bias_k: float) -> float:
    """Return what the plateau's level says, given the uncertainties of the probe and of the boiling point."""
    away = level_c - boiling_point_c.nominal_value
    u = float(np.hypot(u_bias_k, boiling_point_c.std_dev))
    boils = _either(_normal(away, 0.0, u), _normal(away, 0.0, WORSE_K), WORSE_SHARE)
    return boils + float(np.log(STALL_RANGE_K))


def end_odds(sharpness: float, jump: tuple[float, float] | None) -> float:
    """Return what the shape of the ramp's end and the mass loss before and after it say together.

    A boil is brisk or faint, a stall a ceiling or a pause, and each kind has a sharpness and a rise of its own.

    Args:
        sharpness: Slope close below the plateau over that well below it; NaN where it is not known.
        jump: Mass loss rate before and after, g/s; None where no load cell tells.
    """
    # A ramp that quickens towards its end tells no more than a straight one.
    shape = min(sharpness, 0.95) if np.isfinite(sharpness) else None
    rise = None
    if jump is not None:
        rise = float(np.clip((jump[1] - jump[0]) / max(jump[0], 0.03), LEAST_RISE, MOST_RISE))
    brisk = _told(shape, BRISK_SHARPNESS, rise, BRISK_RISE, ANY_BOIL)
    faint = _told(shape, FAINT_SHARPNESS, rise, FAINT_RISE, ANY_BOIL)
    ceiling = _told(shape, STALL_SHARPNESS, rise, STALL_RISE, ANY_STALL)
    pause = _told(shape, PAUSE_SHARPNESS, rise, PAUSE_RISE, ANY_STALL)
    return _either(brisk, faint, FAINT_SHARE) - _either(ceiling, pause, PAUSE_SHARE)


def standing_odds(wander_k: float) -> float:
    """Return what the wander of the plateau's temperature says; 0 where it is not known (NaN)."""
    if not np.isfinite(wander_k):
        return 0.0
    stall, boil = (_normal(np.log(max(wander_k, 0.01) / median), 0.0, sd) for median, sd in (STALL_WANDER, BOIL_WANDER))
    return _either(boil, stall, UNSTEADY_SHARE) - _either(stall, boil, STILL_SHARE)


def _told(
    shape: float | None, shapes: tuple[float, float], rise: float | None, rises: tuple[float, float], any_share: float
) -> float:
    """Return the log density of what was seen, for one kind of end."""
    by_shape = 0.0 if shape is None else _normal(shape, *shapes)
    by_rise = 0.0 if rise is None else _either(_normal(rise, *rises), -float(np.log(1.4)), any_share)
    return by_shape + by_rise


def _normal(x: float, mean: float, sd: float) -> float:
    """Return the logarithm of a normal density."""
    return float(-0.5 * ((x - mean) / sd) ** 2 - np.log(sd * np.sqrt(2.0 * np.pi)))


def _either(usual: float, rare: float, share: float) -> float:
    """Return the log density of a mixture."""
    return float(np.logaddexp(np.log1p(-share) + usual, np.log(share) + rare))
