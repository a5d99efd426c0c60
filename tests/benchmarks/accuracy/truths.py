"""The truth of a recording in the words of a summary: which events its readings can tell of, and every result."""

from collections.abc import Iterator

import numpy as np

from benchmarks.accuracy.scoring import Expected
from emberline_sim.recording import Recording, TrueStay, Truth
from emberline_sim.scenario import Scenario

KNOCK_G = 2.5
"""A load smaller than this may be found or not."""
NO_PROBE = "no working probe in the water"
BOILING_K = 1.0
LATENT_25_C_J_G = 2443.0
"""Latent heat of water at 25 °C, by which moisture lowers a net calorific value (ISO 18125)."""
RELIGHT_S = 600.0
ENDS_S = 60.0
"""A record that ends sooner after a flameout or a boil may leave it open."""


def expected_of(recording: Recording) -> tuple[Expected, ...]:
    """Return the events of a recording, marked where its readings hardly tell of them."""
    truth, channels = recording.truth, set(recording.channels)
    ends_s = [float(channel.t_s[-1]) for channel in recording.channels.values() if len(channel.t_s)]
    end_s = max(ends_s, default=0.0)
    events = []
    for event in truth.events:
        seen = _seen_by(event.kind, channels) and NO_PROBE not in event.note
        if event.kind == "step":
            seen = seen and event.size_g is not None and abs(event.size_g) >= KNOCK_G
        late = event.kind in ("flameout", "boil") and event.t_s > end_s - ENDS_S
        where = _where_it_died(recording) if event.kind == "flameout" else ""
        events.append(Expected(event.kind, event.t_s, event.size_g, not seen or late, where))
    events += _leaning(recording.scenario)
    # A fire that came back within ten minutes never went out; after a longer pause, either reading is right.
    events += [Expected("flameout", from_s, optional=True) for from_s, to_s in truth.dark if to_s - from_s > RELIGHT_S]
    return tuple(sorted(events, key=lambda event: event.t_s))


def _seen_by(kind: str, channels: set[str]) -> bool:
    """Tell whether a bench with these channels can see this kind of event."""
    match kind:
        case "boil":
            return "water" in channels
        case "lit" | "flameout":
            return bool({"mass", "flame"} & channels)
        case "pot_on" | "pot_off":
            return bool({"mass", "pot_mass"} & channels)
    return "mass" in channels


def _leaning(scenario: Scenario) -> Iterator[Expected]:
    """Yield the beginnings and ends of what leans on the load: a step each, if one likes."""
    for hand in scenario.hand:
        if hand.kind == "lean":
            yield Expected("step", hand.t_s, hand.size_g, optional=True)
            yield Expected("step", hand.t_s + hand.for_s, -hand.size_g, optional=True)


def _where_it_died(recording: Recording) -> str:
    """Return the circumstances of the flameout that have a bar of their own."""
    if "flame" in recording.channels:
        return "probe"
    truth = recording.truth
    out_s = truth.events[-1].t_s if not truth.of_kind("flameout") else truth.of_kind("flameout")[-1].t_s
    stood = [stay for stay in truth.stays if stay.pot_on_s <= out_s and (stay.pot_off_s or np.inf) > out_s]
    if not stood or (recording.scenario.pot is not None and recording.scenario.pot.stands != "stove"):
        return "pot off"
    curves = truth.curves
    water_c = float(np.interp(out_s - ENDS_S, curves.t_s, curves.water_c))
    return "pot boiling" if water_c > truth.boiling_point_c - BOILING_K else "pot below boiling"


def dips_of(recording: Recording) -> Iterator[tuple[float, float]]:
    """Yield, for each refuel, when it began to smother the flame and half a minute after half of its power was back."""
    curves = recording.truth.curves
    for refuel in recording.truth.of_kind("refuel"):
        t_s = refuel.t_s
        near = (curves.t_s > t_s - 40.0) & (curves.t_s < t_s - 5.0)
        if not near.any():
            continue
        before_w = float(np.mean(curves.flame_power_w[near]))
        low = (curves.t_s > t_s) & (curves.t_s < t_s + 120.0) & (curves.flame_power_w < 0.5 * before_w)
        yield t_s - 5.0, (float(curves.t_s[low][-1]) if low.any() else t_s) + 30.0


def traits_of(recording: Recording) -> set[str]:
    """Return what the bench and the person made known, in words that tables choose by."""
    scenario, truth, channels = recording.scenario, recording.truth, recording.channels
    traits = {f"has {role}" for role in channels}
    if truth.stays:
        traits.add("pot")
        traits.add("never lifted" if truth.stays[-1].pot_off_s is None else "lifted")
        weighed = scenario.plan.weighs_water or scenario.plan.weighs_char or "pot_mass" in channels
        traits.add("weighed" if weighed else "nothing weighed")
    return traits


def results_of(recording: Recording) -> dict[str, float]:
    """Return the true results that are defined for this burn, by their names in a summary."""
    truth = recording.truth
    lit_s, out_s = truth.time_of("lit"), _last(truth, "flameout")
    weighed = "mass" in recording.channels
    found: dict[str, float | None] = {}
    boil_s = truth.time_of("boil")
    if boil_s is not None and lit_s is not None:
        pots_s = [stay.pot_on_s for stay in truth.stays if stay.pot_on_s < boil_s]
        found["time_to_boil"] = boil_s - max([lit_s, *pots_s[-1:]])
        found["time_to_boil_from_lit"] = boil_s - lit_s
    if weighed and truth.stays:
        found["water_evaporated"] = truth.water_evaporated_g
    if lit_s is not None and out_s is not None:
        found["burn_time"] = out_s - lit_s
        found["fuel_burned"] = truth.fuel_burned_g
        if weighed:
            found |= {
                "fuel_mass_lost": truth.fuel_mass_lost_g,
                "char_left": truth.char_left_g if recording.scenario.plan.weighs_char else truth.fuel_left_g,
                "char_yield": truth.char_yield,
                "burning_rate_mean": truth.burning_rate_mean_g_min,
                "firepower_mean": truth.firepower_mean_w,
            }
            found |= _shares(recording, lit_s, out_s)
    return {name: value for name, value in found.items() if value is not None and np.isfinite(value)}


def _shares(recording: Recording, lit_s: float, out_s: float) -> dict[str, float]:
    """Return cooking power and efficiencies, as the results of a summary are defined."""
    truth = recording.truth
    windows = [(stay, _window_s(stay, lit_s, out_s)) for stay in truth.stays]
    heated = [(stay, window_s) for stay, window_s in windows if window_s > 0.0]
    if not heated or "water" not in recording.channels:
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
