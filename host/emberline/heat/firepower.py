"""The firepower of a fire that still burns: its burning rate, and what a gram of its loss releases.

Nothing of the burn's end is known yet, so the char that its fuel will leave is the usual one, and how far the heat of
this gram lies from the mean of the burn counts in full.
"""

from uncertainties import UFloat

from emberline.bench import fuels
from emberline.bench.plan import Plan
from emberline.curves.events import Phase
from emberline.heat.combustion import ASH_FREE_CHAR_LHV_J_G, char_lhv_from_ash_j_g
from emberline.heat.fuel_in import FuelIn, assumed
from emberline.heat.moments import attempt, uncertain

ASSUMED_CHAR_YIELD = (0.17, 0.05)
"""Dry char over dry fuel where nobody knows it, with standard uncertainty: top-lit stoves leave 0.10 to 0.22 (James,
Yuan and Boyette, Energies 9 (2016) 283)."""
HEAT_RISE = 0.15
"""Standard uncertainty of how much more heat the last gram lost gives than the mean one, as a share, along a line
through the burn. Moisture leaves first, and char burns along in the end: 0.22 +- 0.07 in 54 published cone burns of
wood (NIST cone-db, MaCFP matl-db), none where a front leaves all its char behind, less where fuel is added."""
HEAT_BEND = 0.15
"""The same of how much more the first and the last gram give than a line, and the middle half as much less (the next
Legendre polynomial): 0.15 +- 0.10 in those burns, less than nothing where a fire smokes for long before it flames."""


def live_firepower_w(rate_g_min: UFloat, burnt_g: UFloat | None, plan: Plan, phase: Phase) -> UFloat | None:
    """Return the heat that a fire releases now, W; None while it is not lit.

    The starter burns first, ahead of the fuel. Glowing char burns partly to carbon monoxide, so that the value of the
    char phase is an upper one.

    Args:
        rate_g_min: What the fuel loses now, g/min.
        burnt_g: What it has lost since it was lit, starter included; None where that is not known.
        plan: What a person said.
        phase: Phase of the trial.
    """
    if phase in (Phase.WAITING, Phase.ENDED):
        return None
    fuel = FuelIn(plan, None)
    char_lhv = char_lhv_j_g(plan, assumed(ASSUMED_CHAR_YIELD, "char_yield"))
    if phase is Phase.CHAR:
        return rate_g_min / 60.0 * char_lhv
    if burnt_g is not None and burnt_g.nominal_value < fuel.starter_g.nominal_value:
        return rate_g_min / 60.0 * fuel.starter_lhv
    course = 1.0 + uncertain(0.0, HEAT_RISE, "volatile_heat_course")
    return rate_g_min / 60.0 * usual_volatile_heat_j_g(fuel, char_lhv) * course


def usual_volatile_heat_j_g(fuel: FuelIn, char_lhv: UFloat) -> UFloat:
    """Return the heat per gram that leaves while flaming, J/g, where what the char will weigh is not known."""
    charge = attempt(lambda: fuel.charge)
    moisture = fuel.moisture_wet if charge is None else charge.moisture_wet
    return fuels.heat_of_volatiles(fuel.lhv_dry, char_lhv, moisture, assumed(ASSUMED_CHAR_YIELD, "char_yield"))


def char_lhv_j_g(plan: Plan, char_yield: UFloat) -> UFloat:
    """Return the net calorific value of the char, J/g: the plan's, or from the ash, or assumed.

    Args:
        plan: What a person said.
        char_yield: Dry char over dry fuel, which all the ash stays in.
    """
    fuel = plan.fuel
    if fuel.char_lhv_j_g is not None:
        return fuel.char_lhv_j_g
    if fuel.ash_fraction is not None:
        return char_lhv_from_ash_j_g(fuel.ash_fraction, char_yield, assumed(ASH_FREE_CHAR_LHV_J_G, "char_lhv_j_g"))
    return assumed(fuels.DEFAULT_CHAR_LHV_J_G, "fuel.char_lhv_j_g")
