"""Combustion: what the fuel holds, what its char keeps, and the protocols' figures for what has burnt.

The functions take floats and uncertain numbers alike. Masses in grams, heating values in J/g, energies in joules,
moisture on the wet basis. What no fuel could do raises `AbsentError`, so that no infinite, negative or empty figure
ever comes out.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from emberline.bench.fuels import heat_of_volatiles, lhv_as_fired
from emberline.bench.water import HEAT_CAPACITY_WBT_J_GK, LATENT_HEAT_MOISTURE_WBT_J_G
from emberline.heat.errors import AbsentError

ASH_FREE_CHAR_LHV_J_G = (32_500.0, 1_000.0)
"""Net calorific value of the combustible part of wood char, with standard uncertainty (charcoals listed by T. Miles,
"What Factors Influence Charcoal Quality": 31.1 kJ/g to 34.4 kJ/g at 0.3 % to 1 % of ash)."""

LARGEST_CHAR_YIELD = 0.40
"""Dry char over dry fuel that no wood reaches in a fire: slow charring at 500 degrees leaves 0.33 (T. Miles, same
list), top-lit stoves 0.10 to 0.22 (James, Yuan and Boyette, Energies 9 (2016) 283). What is above is unburnt wood."""

_LEAST_G = 0.01


@dataclass(frozen=True, slots=True)
class Charge:
    """Moist fuel, as one sum of its parts.

    Attributes:
        moist_g: Mass with its moisture.
        moisture_wet: Water over moist mass, of the whole.
    """

    moist_g: UFloat
    moisture_wet: UFloat

    @property
    def dry_g(self) -> UFloat:
        """Mass without moisture."""
        return self.moist_g * (1.0 - self.moisture_wet)

    def energy_j(self, lhv_dry_j_g: UFloat | float) -> UFloat:
        """Net energy as fired: that of the dry part, less the heat that evaporates the moisture (ISO 18125)."""
        return self.moist_g * lhv_as_fired(lhv_dry_j_g, self.moisture_wet)

    def less(self, unburnt_g: UFloat | float) -> "Charge":
        """Return what remains when unburnt fuel of the same moisture is taken back.

        Raises:
            AbsentError: where nothing remains.
        """
        burnt = self.moist_g - unburnt_g
        if not nominal_value(burnt) > 0:
            raise AbsentError("the unburnt fuel weighs as much as all that was put in: check both weights")
        return Charge(burnt, self.moisture_wet)


def charge_of(parts: Iterable[tuple[UFloat | float, UFloat | float]]) -> Charge:
    """Sum parts of fuel, each given by its moist mass and its moisture.

    Raises:
        AbsentError: where the parts have no mass.
    """
    moist: UFloat = 0.0
    water: UFloat = 0.0
    for mass_g, moisture_wet in parts:
        moist += mass_g
        water += mass_g * moisture_wet
    if not nominal_value(moist) > _LEAST_G:
        raise AbsentError("the fuel put in weighs nothing: enter fuel.mass_g in the plan")
    return Charge(moist, water / moist)


def char_lhv_from_ash_j_g(ash_fraction: UFloat | float, char_yield_dry: UFloat | float, combustible: UFloat) -> UFloat:
    """Heating value of char whose ash is all the ash of its fuel.

    Args:
        ash_fraction: Ash over dry fuel (ISO 18122).
        char_yield_dry: Dry char with its ash over dry fuel.
        combustible: Heating value of char without ash, such as `ASH_FREE_CHAR_LHV_J_G`.

    Raises:
        AbsentError: where the ash outweighs the char.
    """
    if not nominal_value(char_yield_dry) > nominal_value(ash_fraction):
        raise AbsentError("the char left weighs less than the ash of the fuel: check fuel.ash_fraction and the weights")
    return combustible * (1.0 - ash_fraction / char_yield_dry)


def net_energy_j(fuel_j: UFloat | float, char_j: UFloat | float) -> UFloat:
    """Energy of the fuel less that which its char keeps (denominator of the ISO 19867-1 efficiency with char credit).

    Raises:
        AbsentError: where the char would hold as much as the fuel.
    """
    if not nominal_value(fuel_j) > nominal_value(char_j):
        raise AbsentError(
            "the char left would hold as much energy as the fuel put in: check the weights; "
            "unburnt wood is not char and goes into fuel.unburnt_g"
        )
    return fuel_j - char_j


def equivalent_dry_fuel_g(
    moist_g: UFloat | float,
    moisture_wet: UFloat | float,
    char_g: UFloat | float,
    *,
    lhv_dry_j_g: UFloat | float,
    char_lhv_j_g: UFloat | float,
    air_c: UFloat | float,
    boiling_c: UFloat | float,
) -> UFloat:
    """Equivalent dry fuel of the Water Boiling Test 4.2.3, high power, step 2 (from memory).

    f_d = f_m (1 - M) - [f_m M (4.186 (T_b - T_a) + 2257) + dC LHV_char] / LHV: dry mass, less the fuel that dried the
    moisture, less the fuel that is left as char.

    Raises:
        AbsentError: where it is not positive.
    """
    drying_j_g = HEAT_CAPACITY_WBT_J_GK * (boiling_c - air_c) + LATENT_HEAT_MOISTURE_WBT_J_G
    spent_j = moist_g * moisture_wet * drying_j_g + char_g * char_lhv_j_g
    dry_g = moist_g * (1.0 - moisture_wet) - spent_j / lhv_dry_j_g
    if not nominal_value(dry_g) > 0:
        raise AbsentError("drying and char account for all of the fuel: check its weight, its moisture and the char's")
    return dry_g


def heat_per_gram_lost_j_g(charge: Charge, char_g: UFloat | float, lhv_dry: UFloat, char_lhv: UFloat) -> UFloat:
    """Effective heat of combustion of what leaves while char stays behind, J per gram lost.

    Raises:
        AbsentError: where the char weighs or holds as much as the fuel.
    """
    char_yield = char_g / charge.dry_g
    net_energy_j(charge.energy_j(lhv_dry), char_g * char_lhv)
    if not nominal_value(charge.moist_g) > nominal_value(char_g):
        raise AbsentError("as much is left as was put in: nothing has burnt, or a weight is wrong")
    return heat_of_volatiles(lhv_dry, char_lhv, charge.moisture_wet, char_yield)


def efficiency(useful_j: UFloat | float, spent_j: UFloat | float) -> UFloat:
    """Share of the energy spent that became useful heat.

    Raises:
        AbsentError: where either is not positive, or more came out than went in.
    """
    if not nominal_value(spent_j) > 0:
        raise AbsentError("no energy was released: check the fuel's weight and heating value")
    if not nominal_value(useful_j) > 0:
        raise AbsentError("no heat reached the water: check the water temperatures and weights")
    if nominal_value(useful_j) > nominal_value(spent_j):
        raise AbsentError("more heat reached the water than the fuel released: a weight or a temperature is wrong")
    return useful_j / spent_j
