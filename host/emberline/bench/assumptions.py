"""What is assumed about a fuel where the plan says nothing, and the sentences that own up to it."""

from dataclasses import replace

from uncertainties import UFloat, ufloat

from emberline.bench import fuels
from emberline.bench.plan import FuelPlan


def complete_fuel(fuel: FuelPlan) -> tuple[FuelPlan, tuple[str, ...]]:
    """Return the fuel with its missing properties filled in, and one sentence for each that was.

    Properties are moisture, the heating values and the kindling's moisture; weights that nobody took stay None. Call it
    once for a trial: each call makes new variables, which do not correlate with those of another.
    """
    notes: list[str] = []
    changes: dict[str, UFloat] = {}

    def assume(key: str, default: tuple[float, float], what: str) -> None:
        if getattr(fuel, key) is None:
            changes[key] = ufloat(*default, tag=f"fuel.{key}")
            notes.append(f"The plan gives no {key}: {default[0]:g} ± {default[1]:g} assumed, {what}.")

    assume("moisture_wet", fuels.DEFAULT_MOISTURE_WET, "as air-dry wood has on the wet basis")
    assume("lhv_dry_j_g", fuels.DEFAULT_LHV_DRY_J_G, "J/g as dry wood has")
    assume("char_lhv_j_g", fuels.DEFAULT_CHAR_LHV_J_G, "J/g as wood char has")
    if fuel.starter_g is not None and fuel.starter_g.n > 0.0:
        assume("starter_lhv_j_g", fuels.DEFAULT_STARTER_LHV_J_G, "J/g as ethanol has")
    if fuel.kindling_g is not None and fuel.kindling_g.n > 0.0:
        assume("kindling_moisture_wet", fuels.DEFAULT_MOISTURE_WET, "as air-dry wood has on the wet basis")
    return replace(fuel, **changes), tuple(notes)
