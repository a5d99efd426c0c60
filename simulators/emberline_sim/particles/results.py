"""True values of a burn's results, under the names that a summary gives them.

Efficiencies are heat into the water over heat released, the pot's own heat left out, to flameout: without credit for
char over the heat of the fuel burnt (put in less unburnt wood), with credit over that less the heat of the char left
(the two forms of ISO 19867-1:2018; from memory).
"""

from emberline_sim.particles.fuel import LATENT_25C_J_G
from emberline_sim.particles.history import History
from emberline_sim.particles.setting import Setting
from emberline_sim.truth import Truth


def results_of(setting: Setting, history: History, truth: Truth) -> dict[str, float]:
    """Work out all results that exist."""
    found = {
        "fuel_burned": truth.fuel_burned_g,
        "fuel_mass_lost": truth.fuel_mass_lost_g,
        "char_left": truth.char_left_g,
        "char_yield": truth.char_yield,
        "burning_rate_mean": truth.burning_rate_mean_g_min,
        "firepower_mean": truth.firepower_mean_w,
        "burn_time": _lapse(truth, "lit", "flameout"),
        "time_to_boil_from_lit": _lapse(truth, "lit", "boil"),
        "time_to_boil": _time_to_boil(setting, truth),
    }
    if truth.stays:
        found["water_evaporated"] = truth.water_evaporated_g
        window_s = sum(_window_s(truth, stay.pot_on_s, stay.pot_off_s) for stay in truth.stays)
        released_j = sum(stay.heat_released_j for stay in truth.stays)
        if window_s > 0.0 and history.lit_s is not None:
            found["cooking_power"] = truth.heat_into_water_j / window_s
        if released_j > 0.0 and truth.heat_released_j is not None:
            found["pot_window_efficiency"] = truth.heat_into_water_j / released_j
    found |= _efficiencies(setting, history, truth)
    return {name: value for name, value in found.items() if value is not None}


def _lapse(truth: Truth, first: str, last: str) -> float | None:
    from_s, to_s = truth.time_of(first), truth.time_of(last)
    return None if from_s is None or to_s is None or to_s < from_s else to_s - from_s


def _time_to_boil(setting: Setting, truth: Truth) -> float | None:
    carried = any(deed.kind == "pot_on" and deed.water_g == 0.0 for deed in setting.deeds)
    if carried:
        # Water that was lifted on its way to the boil has two beginnings.
        return None
    boiled = next((stay for stay in truth.stays if stay.boil_s is not None), None)
    lit_s = truth.time_of("lit")
    if boiled is None or boiled.boil_s is None or lit_s is None:
        return None
    return boiled.boil_s - max(lit_s, boiled.pot_on_s)


def _window_s(truth: Truth, on_s: float, off_s: float | None) -> float:
    end_s = float(truth.curves.t_s[-1]) if off_s is None else off_s
    out_s = truth.time_of("flameout")
    begin_s = max(on_s, truth.time_of("lit") or 0.0)
    return max(0.0, (end_s if out_s is None else min(end_s, out_s)) - begin_s)


def _efficiencies(setting: Setting, history: History, truth: Truth) -> dict[str, float | None]:
    out_s, nature = truth.time_of("flameout"), setting.nature
    if out_s is None or truth.heat_released_j is None or not truth.stays:
        return {}
    at_s = out_s + setting.begins_s
    dry_g = sum(dry for t_s, _, dry in history.fuel_in if t_s <= at_s) - history.at("raw_dry_g", at_s)
    moist_g = sum(moist for t_s, moist, _ in history.fuel_in if t_s <= at_s) - history.at("raw_g", at_s)
    fuel_j = dry_g * nature.lhv_dry_j_g - LATENT_25C_J_G * (moist_g - dry_g)
    fuel_j += (setting.starter_g - history.at("starter_g", at_s)) * setting.starter_lhv_j_g
    heat_j = truth.heat_into_water_j
    return {
        "thermal_efficiency": heat_j / fuel_j,
        "thermal_efficiency_char_credit": heat_j / truth.heat_released_j,
        "firepower_gross_mean": fuel_j / (out_s - (truth.time_of("lit") or 0.0)),
    }
