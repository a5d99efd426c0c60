"""Advice that follows from a budget: what a person can do about the largest parts of an uncertainty."""

import re
from typing import NamedTuple

from emberline.heat.result import Result


class Remedy(NamedTuple):
    """What an input is, in words, and what helps to know it better, as an order."""

    what: str
    order: str


_BOMB = Remedy(
    "the heating value, which all burns of a lot share", "have a sample of the lot measured in a bomb calorimeter"
)
_OVEN = Remedy("the fuel's moisture", "dry a sample of the fuel at 105 °C to constant mass on the test day")
_WATER = Remedy("the weight of the water", "weigh the water into the pot on a balance that shows 0.1 g")
_WATER_LEFT = Remedy("the weight of the water left", "weigh the pot on a fine balance as soon as it is lifted")
_SNUFF = Remedy("what burnt before the char was weighed", "smother the char soon after flameout and note when")
_EVAPORATED = Remedy("what evaporated", "weigh the pot with its water at the end, or give it a load cell of its own")

REMEDIES: dict[str, Remedy] = {
    "fuel.mass_g": Remedy("the weight of the fuel", "weigh the fuel on a balance that shows 0.1 g"),
    "fuel.moisture_wet": _OVEN,
    "fuel.moisture_dry": _OVEN,
    "fuel.lhv_dry_j_g": _BOMB,
    "fuel.hhv_dry_j_g": _BOMB,
    "fuel.lhv_as_fired_j_g": _BOMB,
    "fuel.hydrogen_fraction": Remedy("the fuel's hydrogen", "ask the laboratory for the hydrogen of the fuel"),
    "fuel.char_lhv_j_g": Remedy("the char's heating value", "have a sample of the char measured"),
    "fuel.ash_fraction": Remedy("the fuel's ash", "have the ash of the lot measured at 550 °C"),
    "fuel.starter_g": Remedy("the weight of the starter", "weigh the starter on a balance that shows 0.1 g"),
    "fuel.starter_lhv_j_g": Remedy("the starter's heating value", "light with plain ethanol, or with no starter"),
    "fuel.kindling_g": Remedy("the weight of the kindling", "weigh the kindling on a balance that shows 0.1 g"),
    "fuel.kindling_moisture_wet": Remedy("the kindling's moisture", "dry a sample of the kindling at 105 °C"),
    "fuel.kindling_moisture_dry": Remedy("the kindling's moisture", "dry a sample of the kindling at 105 °C"),
    "fuel.char_left_g": Remedy("the weight of the char", "weigh the cold char on a balance that shows 0.1 g"),
    "fuel.unburnt_g": Remedy("the weight of the unburnt fuel", "sort unburnt pieces from the char and weigh both"),
    "fuel.char_snuffed_s": _SNUFF,
    "char_burnt_before_weighing": _SNUFF,
    "char_yield": Remedy("the assumed char yield", "weigh the fuel before the burn and the cold char after it"),
    "refuel.mass_g": Remedy("the weight of an addition", "weigh each addition beforehand and enter it in the plan"),
    "refuel.moisture_wet": _OVEN,
    "refuel.moisture_dry": _OVEN,
    "pot.water_g": _WATER,
    "pot.visit.water_g": _WATER,
    "pot.final_water_g": _WATER_LEFT,
    "pot.visit.final_water_g": _WATER_LEFT,
    "pot.final_water_delay_s": Remedy("how long the hot pot stood open", "weigh the pot as soon as it is lifted"),
    "pot.visit.final_water_delay_s": Remedy("how long the hot pot stood open", "weigh the pot as soon as it is lifted"),
    "pot.tare_g": Remedy("the weight of the pot", "weigh the empty pot on a balance that shows 0.1 g"),
    "pot.water_start_c": Remedy("the water's temperature at the start", "put a probe into the pot"),
    "place.ambient_c": Remedy("the air temperature", "enter place.ambient_c or fit a probe for the air"),
    "pressure": Remedy("the air pressure", "enter the station pressure as place.pressure_pa or fit a barometer"),
    "load_cell_span": Remedy("the load cell's span", "calibrate the load cell with a known mass near its working load"),
    "load_cell_drift": Remedy(
        "the load cell's drift", "shield the load cell from heat and check its zero after the burn"
    ),
    "mass_curve": Remedy("the unrest of the load cell", "shelter the bench from wind and keep leads off the stove"),
    "burning_rate": Remedy(
        "the unrest of the burning rate", "shelter the bench from wind and keep leads off the stove"
    ),
    "mass_step": Remedy("the pot's steps on the load cell", "set the pot down and lift it without touching the stove"),
    "evaporation_model": _EVAPORATED,
    "steam_share": _EVAPORATED,
    "water_probe": Remedy("the water probe", "check the probe in boiling water, or take a thermocouple of type T"),
    "water_curve": Remedy("the water's temperature curve", "hold the probe in the middle of the water"),
    "boil": Remedy("the moment of the boil", "take a thinner probe and enter the station pressure"),
    "lit": Remedy("the moment of lighting", "fit a flame probe"),
    "pot_on": Remedy("the moment when the pot went on", "set the pot down in one movement"),
    "pot_off": Remedy("the moment when the pot came off", "lift the pot in one movement"),
    "flameout": Remedy("the moment of flameout", "fit a flame probe"),
    "note": Remedy("the moment of a note", "write the note when the power changes"),
}
"""Inputs of the budgets by their tags; the numbers of visits and refuels are left out of a tag."""

_HALVES = 0.75
"""Share of the variance that must go for an uncertainty to halve."""


def advice(result: Result, name: str) -> str:
    """Say in a sentence what would help most to know a result better; empty where it has no budget.

    Where one input, or two, make up three quarters of the variance, knowing them well would halve the uncertainty.

    Args:
        result: The result.
        name: Its name, as in `RESULT_NAMES`.
    """
    shares = _shares(result)
    ranked = sorted(shares, key=lambda remedy: (-shares[remedy], remedy))
    if not ranked:
        return ""
    spoken = name.replace("_", " ")
    first = ranked[0]
    if shares[first] >= _HALVES:
        why = f"{_percent(shares[first])} of its variance is {first.what}"
        return f"To know the {spoken} twice as well, {first.order}: {why}."
    if len(ranked) > 1 and shares[first] + shares[ranked[1]] >= _HALVES:
        second = ranked[1]
        return (
            f"To know the {spoken} twice as well, {first.order} ({_percent(shares[first])} of its variance) "
            f"and {second.order} ({_percent(shares[second])})."
        )
    why = f"the largest, {_percent(shares[first])} of the variance, is {first.what}"
    return f"No single input decides; {why}: {first.order}."


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _shares(result: Result) -> dict[Remedy, float]:
    """Return the share of the variance that each remedy could take away."""
    budget = result.budget
    variance = sum(contribution**2 for contribution in budget.values())
    shares: dict[Remedy, float] = {}
    for tag, contribution in budget.items():
        bare = re.sub(r"\.\d+", "", tag)
        remedy = REMEDIES.get(bare, Remedy(f"'{tag}'", f"find '{tag}' more exactly"))
        shares[remedy] = shares.get(remedy, 0.0) + contribution**2 / variance
    return shares
