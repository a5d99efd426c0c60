"""What is seen of one stay of the pot: when its water boiled, how warm it was, what heat it gave up by itself.

A probe is wrong by as much as a plateau is off the boiling point. Until the water boils nobody knows how much that is,
and near boiling half a kelvin makes a twentieth of what evaporates.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import Place, pressure_at_altitude_pa
from emberline.bench.channels import Channel
from emberline.bench.plan import Plan
from emberline.bench.water import HEAT_CAPACITY_WBT_J_GK
from emberline.curves.events import Event, EventKind, last
from emberline.curves.loads import Stay
from emberline.heat import evaporation
from emberline.heat.boiling import boiling_seconds
from emberline.heat.cell_check import error_about_zero
from emberline.heat.cooling import steam_of_cooling_g_s
from emberline.heat.pot_weights import lidded
from emberline.heat.scale import Scale
from emberline.heat.steam_model import SteamModel
from emberline.heat.water_probe import STIRRED_K

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

WATER_OF_LOSS = 0.5
"""Share of what the load loses while a pot stands there that is water, roughly, where only its heat capacity hangs on
it."""
WATER_SHARE, WATER_SHARE_U = 0.75, 0.1
"""Share of a filled pot's weight that is water, and its standard uncertainty: a pot weighs a quarter to a half of what
is in it, a thin one less, a thick one more (common practice, no source)."""
_PLATEAU_S = slice(5, 65)


@dataclass(frozen=True, slots=True, eq=False)
class PotCurves:
    """What is measured of the pot itself.

    Attributes:
        water_c: (n,) smoothed water temperature, NaN where unknown.
        probe: The probe's channel, with its errors and its lag.
        boiling_c: Local boiling temperature.
        own_cell: The pot's own load cell, where fitted.
    """

    water_c: Array
    probe: Channel
    boiling_c: UFloat
    own_cell: Scale | None = None


@dataclass(frozen=True, slots=True, eq=False)
class StaySeen:
    """One stay as its curves show it.

    Attributes:
        window: First and last second.
        ramp: Seconds in which its water may have warmed: to the boil, or the flame's end.
        lid: Whether a lid lay on the pot all the time.
        lids: (n,) seconds in which one lay on it.
        water_g: The water that was set down, as `water_set_down_g` tells it.
        capacity_j_k: Heat capacity of the pot with that water; None where nobody knows how much it was.
        model: What is seen of it second by second.
    """

    window: tuple[float, float]
    ramp: tuple[int, int]
    lid: bool
    lids: Mask
    water_g: UFloat | None
    capacity_j_k: float | None
    model: SteamModel


def stood(stay: Stay, n: int) -> tuple[float, float]:
    """Return from when to when the pot stood: the moments at which its weight moved, which are those of its events."""
    on_s = float(stay.on.moved_s.nominal_value) if stay.on is not None else 0.0
    return on_s, float(stay.off.moved_s.nominal_value) if stay.off is not None else float(n)


def seconds_of(window: tuple[float, float], n: int) -> Mask:
    """Return which of `n` seconds have their middle in a window, (n,)."""
    t = np.arange(n) + 0.5
    return np.asarray((t >= window[0]) & (t < window[1]))


def see_stay(
    scale: Scale,
    pot: PotCurves,
    plan: Plan,
    events: Sequence[Event],
    index: int,
    n: int,
    blind_share: tuple[float, float],
) -> StaySeen:
    """Look at one stay.

    Args:
        scale: The main load cell.
        pot: What is measured of the pot.
        plan: What a person knows.
        events: The events so far.
        index: Which of the pot's stays it is.
        n: Seconds of the record.
        blind_share: Share of the load's loss that is water where no probe tells, with its standard uncertainty.
    """
    stay = scale.loads.stays[index]
    window = stood(stay, n)
    inside = seconds_of(window, n)
    t = np.arange(n, dtype=np.float64) + 0.5
    flameout = last(tuple(events), EventKind.FLAMEOUT)
    boils_s = [event.t_s for event in events if event.kind is EventKind.BOIL and event.t_s <= window[1]]
    boil_s = next((boil_s for boil_s in boils_s if boil_s >= window[0]), None)
    boiling = boiling_seconds(pot.water_c, boils_s, window[0], inside)
    lids = lidded(scale, plan, stay, t)
    # A pot with a lid now and then is an open one whose vapour is held back meanwhile.
    lid = bool(lids[inside].all()) and bool(inside.any())
    passes = 1.0 if lid else np.where(lids, evaporation.LID_FACTOR, 1.0)
    low_k = _read_too_low_k(pot, boiling)
    drive, warmer_drive = (
        passes * evaporation.vapour_drive(pot.water_c + low_k.nominal_value + k, pressure_pa(plan.place))
        for k in (0.0, low_k.std_dev)
    )
    loss_g_s = np.maximum(scale.loss.rate_g_s, 0.0)
    water_g = water_set_down_g(plan, stay, index)
    full_j_k, cooling_g_s = None, np.zeros(n)
    if water_g is not None:
        set_down_g = float(water_g.nominal_value)
        left_g = np.maximum(set_down_g - WATER_OF_LOSS * np.cumsum(np.where(inside, loss_g_s, 0.0)), 0.0)
        empty = evaporation.pot_capacity_j_k(plan.pot.heat_capacity_j_k if plan.pot is not None else None, water_g)
        empty_j_k = float(empty.nominal_value)
        full_j_k = empty_j_k + HEAT_CAPACITY_WBT_J_GK * set_down_g
        capacity_j_k = empty_j_k + HEAT_CAPACITY_WBT_J_GK * left_g
        cooling_g_s = steam_of_cooling_g_s(pot.water_c, (boiling, inside & ~boiling), capacity_j_k)
    model = SteamModel(
        drive,
        warmer_drive,
        loss_g_s,
        cooling_g_s,
        boiling,
        np.asarray(t > flameout.t_s) if flameout is not None else np.zeros(n, dtype=bool),
        inside,
        inside & ~boiling & ~np.isfinite(pot.water_c),
        *blind_share,
        u_probe_k=float(low_k.std_dev),
    )
    warm_s = boil_s if boil_s is not None else min(window[1], flameout.t_s if flameout is not None else n)
    return StaySeen(window, (int(window[0]), min(int(warm_s), n)), lid, lids, water_g, full_j_k, model)


def water_set_down_g(plan: Plan, stay: Stay, index: int) -> UFloat | None:
    """Return the water that a pot had in it, as its heat capacity needs it; None where nothing tells.

    Where the plan does not say, the step tells by which the load rose: pot and water; the plan may know the pot.
    """
    planned = plan.pot.visit(index).water_g if plan.pot is not None else None
    if planned is not None or stay.on is None or not stay.on.sized:
        return planned
    filled_g, tare_g = float(stay.on.size_g.nominal_value), plan.pot.tare_g if plan.pot is not None else None
    if tare_g is None or tare_g.nominal_value >= filled_g:
        return ufloat(WATER_SHARE * filled_g, WATER_SHARE_U * filled_g, "pot.water_g")
    return filled_g - tare_g


def _read_too_low_k(pot: PotCurves, boiling: Mask) -> UFloat:
    """Return by how much the probe reads too low near boiling: a plateau tells, else what is known of such a probe."""
    plateau_c = pot.water_c[boiling][_PLATEAU_S]
    if np.isfinite(plateau_c).any():
        return pot.boiling_c - float(np.nanmedian(plateau_c)) + error_about_zero(STIRRED_K, "water_curve")
    return error_about_zero(pot.probe.u_reading(float(pot.boiling_c.nominal_value)), "water_probe")


def pressure_pa(place: Place) -> float:
    """Return a place's air pressure, that of a usual altitude where nobody knows."""
    if place.pressure_pa is not None:
        return float(place.pressure_pa.nominal_value)
    altitude = place.altitude_m
    return float(pressure_at_altitude_pa(float(altitude.nominal_value) if altitude is not None else 300.0))
