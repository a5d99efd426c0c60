"""The true results of a recording, under the names and by the definitions of a summary."""

import numpy as np

from benchmarks.accuracy.boils import boils_of
from emberline_sim.particles import ParticleBurn
from emberline_sim.recording import Recording, TrueStay, Truth

LATENT_25_C_J_G = 2443.0
"""Latent heat of water at 25 °C, by which moisture lowers a net calorific value (ISO 18125)."""
NEED_WATER = ("cooking_power", "pot_window_efficiency", "thermal_efficiency", "thermal_efficiency_char_credit")


def results_of(recording: Recording) -> dict[str, float]:
    """Return the true results that are defined for this burn and that its bench can measure, by their names."""
    own = recording.results if isinstance(recording, ParticleBurn) else _layer_results(recording)
    found = {name: value for name, value in own.items() if _measured(name, set(recording.channels))}
    if "char_left" in found:
        found["char_left"] = _left_g(recording)
    return {name: value for name, value in found.items() if np.isfinite(value)}


def _layer_results(recording: Recording) -> dict[str, float]:
    truth = recording.truth
    lit_s, out_s = truth.time_of("lit"), _last(truth, "flameout")
    found: dict[str, float | None] = {}
    boils = [boil for _, boil in boils_of(recording)]
    if boils and lit_s is not None and boils[0].sure:
        boil_s = boils[0].t_s
        pots_s = [stay.pot_on_s for stay in truth.stays if stay.pot_on_s < boil_s]
        found["time_to_boil"] = boil_s - max([lit_s, *pots_s[-1:]])
        found["time_to_boil_from_lit"] = boil_s - lit_s
    if truth.stays:
        found["water_evaporated"] = truth.water_evaporated_g
    if lit_s is not None and out_s is not None:
        found |= {
            "burn_time": out_s - lit_s,
            "fuel_burned": truth.fuel_burned_g,
            "fuel_mass_lost": truth.fuel_mass_lost_g,
            "char_left": truth.char_left_g,
            "char_yield": truth.char_yield,
            "burning_rate_mean": truth.burning_rate_mean_g_min,
            "firepower_mean": truth.firepower_mean_w,
        }
        found |= _shares(recording, lit_s, out_s)
    return {name: value for name, value in found.items() if value is not None}


def _left_g(recording: Recording) -> float:
    """Return what counts as char: all that remained, unless the person told unburnt wood from it."""
    truth = recording.truth
    left_g = truth.char_left_g if recording.scenario.plan.weighs_char else truth.fuel_left_g
    return float("nan") if left_g is None else left_g


def _measured(name: str, channels: set[str]) -> bool:
    """Tell whether a bench with these channels can measure a result."""
    if name.startswith("time_to_boil"):
        return "water" in channels and bool({"mass", "flame"} & channels)
    if name in ("burn_time", "fuel_burned"):
        return bool({"mass", "flame"} & channels)
    if name in NEED_WATER:
        return {"mass", "water"} <= channels
    return "mass" in channels


def _shares(recording: Recording, lit_s: float, out_s: float) -> dict[str, float]:
    """Return cooking power and efficiencies, as the results of a summary are defined."""
    truth = recording.truth
    windows = [(stay, _window_s(stay, lit_s, out_s)) for stay in truth.stays]
    heated = [(stay, window_s) for stay, window_s in windows if window_s > 0.0]
    if not heated:
        return {}
    heat_j = sum(stay.heat_into_water_j for stay, _ in heated)
    released_j = sum(stay.heat_released_j for stay, _ in heated)
    shares = {"cooking_power": heat_j / sum(window_s for _, window_s in heated)}
    if released_j > 0.0:
        shares["pot_window_efficiency"] = heat_j / released_j
    gross_j = _gross_j(recording, out_s)
    if gross_j is not None:
        shares["thermal_efficiency"] = heat_j / gross_j
        if truth.heat_released_j is not None:
            shares["thermal_efficiency_char_credit"] = heat_j / truth.heat_released_j
    return shares


def _window_s(stay: TrueStay, lit_s: float, out_s: float) -> float:
    return min(out_s if stay.pot_off_s is None else stay.pot_off_s, out_s) - max(stay.pot_on_s, lit_s)


def _gross_j(recording: Recording, out_s: float) -> float | None:
    """Return the net calorific energy of the fuel burnt, char included, and of the starter."""
    fuel, truth = recording.scenario.fuel, recording.truth
    if fuel is None or truth.fuel_burned_g is None:
        return None
    fills = [(fuel.mass_g, fuel.moisture_wet)]
    fills += [(one.mass_g, one.moisture_wet) for one in recording.scenario.refuel if one.t_s < out_s]
    energy_j = sum(g * ((1.0 - w) * fuel.lhv_dry_j_g - LATENT_25_C_J_G * w) for g, w in fills)
    share = truth.fuel_burned_g / sum(g for g, _ in fills)
    return energy_j * share + fuel.starter_g * fuel.starter_lhv_j_g


def _last(truth: Truth, kind: str) -> float | None:
    return max((event.t_s for event in truth.of_kind(kind)), default=None)
