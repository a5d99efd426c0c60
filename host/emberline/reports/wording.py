"""Words for the names of results, events, phases and inputs."""

import re
from dataclasses import dataclass

from emberline.curves.events import EventKind, Phase


@dataclass(frozen=True, slots=True)
class Wording:
    """What a result is called on a page, and what it means in one line."""

    title: str
    meaning: str


RESULT_GROUPS: dict[str, dict[str, Wording]] = {
    "Time": {
        "time_to_boil": Wording("Time to boil", "from lit or pot on, whichever is later"),
        "time_to_boil_from_lit": Wording("Time to boil from lit", "whenever the pot went on"),
        "time_to_boil_corrected": Wording("Corrected time to boil", "scaled to a rise of 75 K"),
        "burn_time": Wording("Burn time", "lit to flameout"),
    },
    "Burning": {
        "burning_rate_mean": Wording("Mean burning rate", "raw, lit to flameout"),
        "burning_rate_peak": Wording("Peak burning rate", "of the smoothed curve"),
        "burning_rate_peak_five_point": Wording("Peak by the five-point rule", "unsmoothed"),
        "burning_rate_10_90": Wording("Burning rate 10 to 90 %", "of the mass lost"),
        "burning_rate_equivalent_dry": Wording("Equivalent dry burning rate", "less drying, char"),
        "firepower_mean": Wording("Mean firepower", "lit to flameout, net of char"),
        "firepower_gross_mean": Wording("Gross mean firepower", "char counted as if burnt"),
        "effective_heat_of_combustion": Wording("Effective heat of combustion", "per gram lost"),
        "turndown": Wording("Turndown", "high firepower over low"),
    },
    "Heat into water": {
        "cooking_power": Wording("Cooking power", "over the time of the pot"),
        "thermal_efficiency": Wording("Thermal efficiency", "whole burn, no credit for char"),
        "thermal_efficiency_char_credit": Wording("Efficiency with char credit", "char left taken off the fuel"),
        "pot_window_efficiency": Wording("Efficiency under the pot", "over heat released meanwhile"),
        "specific_fuel_consumption": Wording("Specific fuel consumption", "dry, per water boiled"),
    },
    "Mass": {
        "fuel_burned": Wording("Fuel burned", "moist, less unburnt; char not taken off"),
        "equivalent_dry_fuel": Wording("Equivalent dry fuel", "drying and char taken off"),
        "fuel_mass_lost": Wording("Fuel mass lost", "lit to flameout, without starter"),
        "char_left": Wording("Char left", "all that remains at flameout"),
        "char_yield": Wording("Char yield", "char left over fuel, both dry"),
        "water_evaporated": Wording("Water evaporated", "from the pot, all visits"),
    },
}
"""Every result by group, in the order in which a page lists them."""

RESULTS: dict[str, Wording] = {name: wording for group in RESULT_GROUPS.values() for name, wording in group.items()}
"""Every result by its name."""

HEADLINES = (
    "time_to_boil",
    "burn_time",
    "burning_rate_mean",
    "firepower_mean",
    "thermal_efficiency",
    "char_left",
)
"""Results shown large at the top."""

COMPARED = (
    "time_to_boil",
    "burn_time",
    "burning_rate_mean",
    "firepower_mean",
    "thermal_efficiency",
    "thermal_efficiency_char_credit",
    "pot_window_efficiency",
    "specific_fuel_consumption",
)
"""Results that are compared where none is named."""

BESIDE = {
    "thermal_efficiency": "thermal_efficiency_char_credit",
    "char_left": "char_yield",
    "firepower_mean": "cooking_power",
    "burning_rate_mean": "burning_rate_peak",
}
"""The result named in small beneath a headline."""

BUDGETED = (
    "time_to_boil",
    "burning_rate_mean",
    "firepower_mean",
    "thermal_efficiency",
    "thermal_efficiency_char_credit",
    "char_left",
)
"""Results whose uncertainty is taken apart on the page."""

EVENTS: dict[EventKind, str] = {
    EventKind.LIT: "lit",
    EventKind.POT_ON: "pot on",
    EventKind.BOIL: "boil",
    EventKind.POT_OFF: "pot off",
    EventKind.REFUEL: "refuel",
    EventKind.FLAMEOUT: "flameout",
    EventKind.STEP: "step",
    EventKind.NOTE: "note",
}
"""Words for the kinds of events."""

PHASES: dict[Phase, str] = {
    Phase.WAITING: "waiting",
    Phase.KINDLING: "kindling",
    Phase.FLAMING: "flaming",
    Phase.CHAR: "char",
    Phase.ENDED: "ended",
}
"""Words for the phases."""

_INPUTS = {
    "fuel.mass_g": "weight of the fuel",
    "fuel.moisture_wet": "moisture of the fuel",
    "fuel.moisture_dry": "moisture of the fuel",
    "fuel.lhv_dry_j_g": "heating value, fuel",
    "fuel.hhv_dry_j_g": "heating value, fuel",
    "fuel.lhv_as_fired_j_g": "heating value, fuel",
    "fuel.hydrogen_fraction": "hydrogen of the fuel",
    "fuel.char_lhv_j_g": "heating value, char",
    "char_lhv_j_g": "heating value, char",
    "fuel.ash_fraction": "ash of the fuel",
    "fuel.starter_g": "weight of the starter",
    "fuel.starter_lhv_j_g": "heating value, starter",
    "fuel.kindling_g": "weight of the kindling",
    "fuel.kindling_moisture_wet": "moisture, kindling",
    "fuel.kindling_moisture_dry": "moisture, kindling",
    "fuel.char_left_g": "weight of the char",
    "fuel.unburnt_g": "weight, unburnt fuel",
    "fuel.char_snuffed_s": "char burnt before weighing",
    "char_burnt_before_weighing": "char burnt before weighing",
    "char_yield": "assumed char yield",
    "char_unfinished": "wood within the char",
    "volatile_heat_course": "heat along the burn",
    "latent_heat": "latent heat below boiling",
    "refuel.mass_g": "weight of the refuels",
    "refuel.moisture_wet": "moisture of the refuels",
    "refuel.moisture_dry": "moisture of the refuels",
    "pot.tare_g": "weight of the pot",
    "pot.lid_g": "weight of the lid",
    "pot.water_g": "weight of the water",
    "pot.visit.water_g": "weight of the water",
    "pot.final_water_g": "water weighed afterwards",
    "pot.visit.final_water_g": "water weighed afterwards",
    "pot.final_water_delay_s": "time before that weighing",
    "pot.visit.final_water_delay_s": "time before that weighing",
    "pot.water_start_c": "water at the start",
    "pot.heat_capacity_j_k": "heat capacity of the pot",
    "pot.material": "heat capacity of the pot",
    "place.ambient_c": "air temperature",
    "pressure": "air pressure",
    "load_cell_span": "load cell, span",
    "load_cell_span_warm": "load cell, span when warm",
    "load_cell.known_g": "known mass",
    "load_cell.shown_g": "known mass as shown before the burn",
    "load_cell.shown_after_g": "known mass as shown after the burn",
    "load_cell.zero_drift_g": "zero found after the burn",
    "load_cell_drift": "load cell, drift",
    "load_cell_warmth": "load cell, drift with its temperature",
    "load_cell_creep": "load cell, creep",
    "draught": "lift of the hot gas",
    "draught_on_pot": "lift of the hot gas on the pot",
    "mass_curve": "load cell, noise",
    "mass_step": "load cell, steps",
    "burning_rate": "noise of the rate",
    "evaporation_model": "evaporation model",
    "steam_share": "share of steam",
    "pot_wall": "heat lost by the pot's wall",
    "no_water_probe": "no probe in the water",
    "laid_on_pot": "what lay on the pot",
    "pot_account_doubtful": "accounts of the water that disagree",
    "char_steam": "steam raised by glowing char",
    "water_probe": "water probe",
    "water_probe_span": "water probe, span",
    "water_probe_drift": "water probe, drift",
    "water_probe_lag": "water probe, lag",
    "water_curve": "water curve",
    "lit": "moment of lighting",
    "pot_on": "moment of pot on",
    "boil": "moment of the boil",
    "pot_off": "moment of pot off",
    "flameout": "moment of flameout",
    "note": "moment of a note",
    "kindled": "end of kindling",
}


def result_title(name: str) -> str:
    """Return what a result is called; an unknown name is spelled out."""
    known = RESULTS.get(name)
    return known.title if known else _spelled(name).capitalize()


def in_sentence(name: str) -> str:
    """Return what a result is called within a sentence."""
    title = result_title(name)
    return f"the {title[0].lower()}{title[1:]}"


def result_meaning(name: str) -> str:
    """Return what a result means in one line, empty for an unknown name."""
    known = RESULTS.get(name)
    return known.meaning if known else ""


def input_title(tag: str) -> str:
    """Return what an input of a budget is called, whichever visit or refuel it is of; an unknown tag is spelled out."""
    plain = re.sub(r"\.\d+(?=\.|$)", "", tag)
    return _INPUTS.get(plain) or _spelled(tag)


def _spelled(name: str) -> str:
    return name.replace(".", ", ").replace("_", " ")
