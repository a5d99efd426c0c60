"""What a known mass and a look at the empty cell say of a load cell's span and zero.

Both are combined with what is expected of the cell, each by its variance. That is done on the variables themselves: an
error `e` of which `o = e + d` was observed is afterwards `e + K (o - e - d)` with `K = var(e) / (var(e) + var(d))`,
which has the mean and the covariances of the normal distribution given the observation (Matheron's rule, as in kriging;
Chiles and Delfiner, Geostatistics, 2nd ed. 2012, section 7.3, from memory). So everything that shares `e` stays
correlated as it should.
"""

from collections.abc import Sequence
from math import sqrt

from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.plan import LoadCellPlan

U_WARMTH = 0.0005 / sqrt(3.0)
"""A warm load cell's span changes by 0.05 % per 10 K (typical data sheet), which a known mass before the burn does not
see, nor two of them what was between."""


def error_about_zero(u: float, tag: str) -> UFloat:
    """Return an error about zero; exactly zero where nothing is uncertain."""
    return ufloat(0.0, u, tag) if u > 0 else to_affine_scalar(0.0)


def span_error(u_scale: float, told: LoadCellPlan) -> UFloat:
    """Return the span's relative error: true weight over shown weight, less one.

    Args:
        u_scale: What is expected of the cell, relative standard uncertainty.
        told: What a known mass showed; where it was laid on twice, the mean counts.
    """
    expected = error_about_zero(u_scale, "load_cell_span")
    shown = [one for one in (told.shown_g, told.shown_after_g) if one is not None]
    if told.known_g is None or not shown:
        return expected
    seen = told.known_g / (sum(shown, to_affine_scalar(0.0)) / len(shown)) - 1.0
    share = u_scale**2 / (u_scale**2 + seen.std_dev**2)
    return expected * (1.0 - share) + share * seen + error_about_zero(share * U_WARMTH, "load_cell_span_warm")


def tied(
    wander_g: Sequence[UFloat], each_s: float, u_per_hour: float, told: LoadCellPlan
) -> tuple[tuple[UFloat, ...], float]:
    """Return the increments of the zero's wander, given how far it was found to have moved; see `Scale`.

    The zero is a random walk that is tied at both looks at the empty cell. These lie around the record, as a rule
    somewhat further apart than it is long: the increments of the record are its part of the walk.

    Args:
        wander_g: Increments about zero, each of `each_s` seconds.
        each_s: That time.
        u_per_hour: Standard uncertainty of the wander within an hour.
        told: What was found.

    Returns:
        The increments, and the share of the wander's variance that the look takes away, per second of the time between
        the looks: 0 for no look.
    """
    if told.zero_drift_g is None or told.zero_drift_s is None or not u_per_hour > 0.0:
        return tuple(wander_g), 0.0
    between_s = max(float(told.zero_drift_s.nominal_value), each_s)
    whole2, each2 = (u_per_hour**2 * seconds / 3600.0 for seconds in (between_s, each_s))
    within = list(wander_g[: int(between_s / each_s)])
    beyond = error_about_zero(sqrt(max(whole2 - each2 * len(within), 0.0)), "load_cell_drift")
    surprise = told.zero_drift_g - sum(within, beyond)
    gain = each2 / (whole2 + told.zero_drift_g.std_dev**2)
    found = tuple(step + gain * surprise for step in within)
    return (*found, *wander_g[len(within) :]), gain / each_s
