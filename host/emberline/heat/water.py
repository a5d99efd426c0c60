"""Heat into water, and the protocols' figures about it.

The functions take floats and uncertain numbers alike; masses in grams, temperatures in degrees Celsius, energies in
joules. The constants are those of the Water Boiling Test 4.2.3 unless others are given, so that figures compare with
published ones: within 0.2 % of the properties of water (IAPWS-IF97), 1 % at 3000 m.
"""

from uncertainties import UFloat, nominal_value, std_dev

from emberline.bench.water import HEAT_CAPACITY_WBT_J_GK, LATENT_HEAT_WBT_J_G
from emberline.heat.errors import AbsentError

NOMINAL_RISE_K = 75.0
"""The rise that the Water Boiling Test's temperature correction refers to (25 to 100 degrees)."""
_CLEARLY = 2.0
"""Standard uncertainties by which a mass must be negative before it counts as an error instead of noise."""


def heat_into_water_j(
    start_g: UFloat | float,
    start_c: UFloat | float,
    end_c: UFloat | float,
    evaporated_g: UFloat | float,
    *,
    evaporates_at_c: UFloat | float | None = None,
    heat_capacity_j_gk: float = HEAT_CAPACITY_WBT_J_GK,
    latent_heat_j_g: UFloat | float = LATENT_HEAT_WBT_J_G,
) -> UFloat:
    """Heat of one visit that warmed all of the water and evaporated what left (WBT 4.2.3, ISO 19867-1; from memory).

    The heat that warms the pot itself is left out by the convention of both protocols. They end while the water boils;
    only where it has cooled since, what left hotter (`evaporates_at_c`, a mean by mass) took that heat along.

    Raises:
        AbsentError: where there was no water, water appeared, more left than there was, or no heat went in.
    """
    refuse_impossible_loss(start_g, evaporated_g)
    heat_j = heat_capacity_j_gk * start_g * (end_c - start_c) + latent_heat_j_g * evaporated_g
    if evaporates_at_c is not None and nominal_value(evaporates_at_c - end_c) > 0:
        heat_j += heat_capacity_j_gk * evaporated_g * (evaporates_at_c - end_c)
    if not nominal_value(heat_j) > 0:
        raise AbsentError("the water did not gain heat: check that the probe was in the water")
    return heat_j


def effective_water_g(
    left_g: UFloat | float, start_c: UFloat | float, end_c: UFloat | float, boiling_c: UFloat | float
) -> UFloat:
    """Effective mass of water boiled: what is left, scaled by how far it came (WBT 4.2.3, step 4, from memory).

    Raises:
        AbsentError: where no water is left, or it started at the boiling point.
    """
    if not nominal_value(left_g) > 0:
        raise AbsentError("no water was left in the pot: check the water's weights")
    if not nominal_value(boiling_c - start_c) > 0:
        raise AbsentError("the water started at the boiling point: nothing was brought to the boil")
    if not nominal_value(end_c - start_c) > 0:
        raise AbsentError("the water did not become warmer")
    return left_g * (end_c - start_c) / (boiling_c - start_c)


def corrected_for_rise(value: UFloat | float, start_c: UFloat | float, boiled_c: UFloat | float) -> UFloat:
    """Scale a time or a consumption to a rise of 75 K (WBT 4.2.3, step 9, from memory).

    Raises:
        AbsentError: where the water did not become warmer.
    """
    rise_k = boiled_c - start_c
    if not nominal_value(rise_k) > 0:
        raise AbsentError("the water started at the boiling point: there is no rise to correct for")
    return value * NOMINAL_RISE_K / rise_k


def refuse_impossible_loss(start_g: UFloat | float, evaporated_g: UFloat | float) -> None:
    """Raise AbsentError where no water stood in the pot, water appeared, or more left than there was."""
    if not nominal_value(start_g) > 0:
        raise AbsentError("there was no water in the pot: enter pot.water_g in the plan")
    spread_g = _CLEARLY * std_dev(evaporated_g)
    if nominal_value(evaporated_g) < -spread_g:
        raise AbsentError("the pot gained water while it stood on the stove: check the water's weights and the tare")
    if nominal_value(evaporated_g - start_g) > spread_g:
        raise AbsentError("more water left the pot than was in it: check the water's weights and the tare")
