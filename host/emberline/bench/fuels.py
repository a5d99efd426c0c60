"""Fuels: heating values, moisture bases, the heat of volatiles, and what is assumed where nobody measured.

The functions take floats and uncertain numbers alike and return the same kind. Fractions are of 1, not percent.
"""

from collections.abc import Mapping
from types import MappingProxyType

from uncertainties import UFloat, nominal_value, ufloat

from emberline.bench.errors import OutOfRangeError

LATENT_HEAT_25_J_G = 2443.0
"""Heat of evaporation of water at 25 degrees, the reference temperature of calorific values (ISO 18125)."""

OXYGEN_NITROGEN_WOOD = 0.43
"""Oxygen and nitrogen of dry wood, mass fraction; a percent of it changes the net value by 0.8 J/g (ISO 18125)."""

DEFAULT_HYDROGEN_FRACTION = (0.060, 0.003)
"""Hydrogen of dry wood, mass fraction, with standard uncertainty (common practice, no source)."""
DEFAULT_LHV_DRY_J_G = (18_400.0, 600.0)
"""Net calorific value of dry wood, with a standard uncertainty that covers softwood, hardwood and pellets."""
DEFAULT_CHAR_LHV_J_G = (29_500.0, 1_500.0)
"""Net calorific value of charcoal (default of the 2006 IPCC guidelines); ash makes most of the difference."""
DEFAULT_STARTER_LHV_J_G = (26_800.0, 800.0)
"""Net calorific value of ethanol; the uncertainty reaches down to spirit with 5 % of water."""
DEFAULT_MOISTURE_WET = (0.11, 0.03)
"""Wet-basis moisture of air-dry wood and pellets kept under a roof (common practice, no source)."""

POT_HEAT_CAPACITY_J_GK: Mapping[str, float] = MappingProxyType(
    {"steel": 0.50, "aluminium": 0.90, "copper": 0.385, "titanium": 0.52, "cast iron": 0.46}
)
"""Heat capacity of pot materials near 60 degrees, J per gram and kelvin (handbook values, from memory)."""


def lhv_dry_from_hhv(
    hhv_j_g: UFloat | float,
    hydrogen_fraction: UFloat | float,
    oxygen_nitrogen_fraction: UFloat | float = OXYGEN_NITROGEN_WOOD,
) -> UFloat:
    """Net calorific value of dry fuel from its gross one, at constant pressure (ISO 18125: 212.2 H + 0.8 (O + N))."""
    return hhv_j_g - 21_220.0 * hydrogen_fraction - 80.0 * oxygen_nitrogen_fraction


def lhv_as_fired(lhv_dry_j_g: UFloat | float, moisture_wet: UFloat | float) -> UFloat:
    """Net calorific value of moist fuel from that of dry fuel (ISO 18125: 24.43 J/g for each percent of moisture)."""
    return lhv_dry_j_g * (1.0 - moisture_wet) - LATENT_HEAT_25_J_G * moisture_wet


def lhv_dry_from_as_fired(lhv_as_fired_j_g: UFloat | float, moisture_wet: UFloat | float) -> UFloat:
    """Net calorific value of dry fuel from that of moist fuel; the inverse of `lhv_as_fired`."""
    return (lhv_as_fired_j_g + LATENT_HEAT_25_J_G * moisture_wet) / (1.0 - moisture_wet)


def wet_from_dry(moisture_dry: UFloat | float) -> UFloat:
    """Wet-basis moisture (water over moist mass) from dry-basis moisture (water over dry mass)."""
    return moisture_dry / (1.0 + moisture_dry)


def dry_from_wet(moisture_wet: UFloat | float) -> UFloat:
    """Dry-basis moisture (water over dry mass) from wet-basis moisture (water over moist mass)."""
    return moisture_wet / (1.0 - moisture_wet)


def heat_of_volatiles(
    lhv_dry_j_g: UFloat | float,
    char_lhv_j_g: UFloat | float,
    moisture_wet: UFloat | float,
    char_yield_dry: UFloat | float,
) -> UFloat:
    """Heat released per gram of mass lost while moisture and volatiles leave and char stays, J per gram.

    h = [(1-M)(LHV_d - Y LHV_c) - 2443 M] / [1 - (1-M) Y]: what the moist fuel holds, less what its char keeps, over the
    mass that left. M is wet-basis moisture, Y dry char over dry fuel.

    Raises:
        OutOfRangeError: where nothing would leave the fuel.
    """
    lost = 1.0 - (1.0 - moisture_wet) * char_yield_dry
    if not nominal_value(lost) > 0.0:
        raise OutOfRangeError("a char yield of 1 leaves no volatiles: check the char's and the fuel's weights")
    heat = (1.0 - moisture_wet) * (lhv_dry_j_g - char_yield_dry * char_lhv_j_g) - LATENT_HEAT_25_J_G * moisture_wet
    return heat / lost


def pot_heat_capacity_j_gk(material: str) -> UFloat:
    """Heat capacity of a pot's material, good to 5 %, tagged `pot.material`; `material` is one of the table's."""
    value = POT_HEAT_CAPACITY_J_GK[material]
    return ufloat(value, 0.05 * value, tag="pot.material")


def default_hydrogen_fraction() -> UFloat:
    """Hydrogen fraction of dry wood, tagged `fuel.hydrogen_fraction`; a new variable at each call."""
    return ufloat(*DEFAULT_HYDROGEN_FRACTION, tag="fuel.hydrogen_fraction")
