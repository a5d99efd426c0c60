"""Burning rates of a burn, in grams a minute."""

from functools import partial

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.curves.events import EventKind
from emberline.curves.grid import MAD_TO_SD
from emberline.curves.mass_rate import MassRateError, block_means, five_point_rate, window_10_90
from emberline.heat.burn import Burn
from emberline.heat.errors import AbsentError
from emberline.heat.moments import attempt
from emberline.heat.result import COVERAGE_95

FIVE_POINT_SPACING_S = 5
"""Spacing of the masses in the five-point rule, the longest that ISO 5660-1 allows (from memory)."""
_REACH_S = 15.0


def mean_rate(burn: Burn) -> UFloat:
    """Mass lost by fuel and starter from lit to flameout over that time; not the protocols' equivalent dry rate."""
    return 60.0 * burn.loss_g / burn.moments.burn_time_s


def equivalent_dry_rate(burn: Burn) -> UFloat:
    """Burning rate of the Water Boiling Test 4.2.3: equivalent dry fuel over the time from lit to flameout."""
    return 60.0 * burn.equivalent_dry_fuel_g / burn.moments.burn_time_s


def peak_rate(burn: Burn) -> UFloat:
    """Largest smoothed rate between lit and flameout, outside masked seconds.

    It is taken where its lower 95 % bound is highest, and not beside a change of load or the boil, where what the
    smoother spreads is no fire.
    """
    _ = burn.loss_g
    account = burn.account
    rates = np.where(_flaming(burn), account.burning_rate_g_min, np.nan)
    for kind in (EventKind.POT_ON, EventKind.BOIL, EventKind.POT_OFF, EventKind.REFUEL, EventKind.STEP):
        for event in burn.moments.of_kind(kind):
            rates[np.abs(account.t_s - event.t_s) <= _REACH_S] = np.nan
    if not np.isfinite(rates).any():
        raise AbsentError("no burning rate is known between lighting and flameout")
    at = int(np.nanargmax(rates - COVERAGE_95 * account.u_burning_rate_g_min))
    return ufloat(float(rates[at]), float(account.u_burning_rate_g_min[at]), tag="burning_rate")


def peak_rate_five_point(burn: Burn) -> UFloat:
    """Largest rate by the five-point rule of ISO 5660-1 on 5 s means of the fuel's mass.

    Its uncertainty is the scatter of these rates about the smoothed ones, which carry none of their noise.
    """
    _ = burn.loss_g
    account = burn.account
    known = np.where(_flaming(burn), account.fuel_g, np.nan)
    for event in burn.moments.of_kind(EventKind.REFUEL):
        known[np.abs(account.t_s - event.t_s) <= _REACH_S] = np.nan
    try:
        rates = 60.0 * five_point_rate(block_means(known, FIVE_POINT_SPACING_S), FIVE_POINT_SPACING_S)
    except MassRateError as exc:
        raise AbsentError(f"{exc}: the burn is too short") from exc
    smooth = block_means(account.burning_rate_g_min, FIVE_POINT_SPACING_S)
    u_smooth = block_means(account.u_burning_rate_g_min, FIVE_POINT_SPACING_S)
    usable = np.isfinite(rates) & np.isfinite(smooth) & np.isfinite(u_smooth)
    if usable.sum() < 5:
        raise AbsentError("too few undisturbed seconds between lighting and flameout")
    scatter = MAD_TO_SD * float(np.median(np.abs(rates[usable] - smooth[usable])))
    at = int(np.argmax(np.where(usable, rates, -np.inf)))
    return ufloat(float(rates[at]), float(np.hypot(scatter, u_smooth[at])), tag="burning_rate")


def rate_10_90(burn: Burn) -> UFloat:
    """Mean rate between 10 % and 90 % of the mass lost from lit to flameout (ISO 5660-1), immune to ragged ends.

    An uncertain end still moves the two moments a little: it counts with what the rate would be one deviation off.
    """
    _ = burn.loss_g
    lit, out = burn.moments.lit, burn.moments.flameout
    lit_s, out_s = float(lit.nominal_value), float(out.nominal_value)
    rate = _between_10_90(burn, lit_s, out_s)
    for end, lit_u, out_u in ((lit, float(lit.std_dev), 0.0), (out, 0.0, float(out.std_dev))):
        earlier = attempt(partial(_between_10_90, burn, lit_s - lit_u, out_s - out_u))
        later = attempt(partial(_between_10_90, burn, lit_s + lit_u, out_s + out_u))
        if end.std_dev > 0.0 and earlier is not None and later is not None:
            slope = (later.nominal_value - earlier.nominal_value) / (2.0 * end.std_dev)
            rate += slope * (end - end.nominal_value)
    return rate


def _between_10_90(burn: Burn, lit_s: float, out_s: float) -> UFloat:
    flaming = _between(burn, lit_s, out_s)
    span_s = burn.account.t_s[flaming]
    if any(span_s[0] < event.t_s < span_s[-1] for event in burn.moments.of_kind(EventKind.REFUEL)):
        raise AbsentError("fuel was added while it burnt: a mean across a refuel says nothing about either fill")
    try:
        start_s, end_s = window_10_90(span_s, burn.account.fuel_g[flaming])
    except MassRateError as exc:
        raise AbsentError(f"no 10 % to 90 % rate: {exc}") from exc
    if not end_s > start_s:
        raise AbsentError("no 10 % to 90 % rate: the mass falls in one step")
    return 60.0 * burn.lost_g(to_affine_scalar(start_s), to_affine_scalar(end_s)) / (end_s - start_s)


def _flaming(burn: Burn) -> NDArray[np.bool_]:
    return _between(burn, float(burn.moments.lit.nominal_value), float(burn.moments.flameout.nominal_value))


def _between(burn: Burn, lit_s: float, out_s: float) -> NDArray[np.bool_]:
    flaming: NDArray[np.bool_] = (burn.account.t_s >= lit_s) & (burn.account.t_s <= out_s)
    if not flaming.any():
        raise AbsentError("the load cell has no record between lighting and flameout")
    return flaming
