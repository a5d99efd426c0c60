"""What a person knows of a burn and writes into the plan: exact, or as people measure."""

from dataclasses import replace

import numpy as np

from emberline_sim.particles.benches import Bench
from emberline_sim.particles.drawing import Stove, between
from emberline_sim.particles.habits import Plot
from emberline_sim.particles.history import History
from emberline_sim.particles.setting import Setting
from emberline_sim.scenario import Scenario
from emberline_sim.specs import AmbientSpec, BalanceSpec, ChannelsSpec, FlameProbeSpec, GapSpec, ProbeSpec
from emberline_sim.trial_specs import BurnSpec, FuelSpec, PlaceSpec, PlanSpec, PotSpec, RefuelSpec, VisitSpec
from emberline_sim.truth import Truth

EXACT = 0.5
"""Share of people who measure well."""


def told_scenario(
    title: str, seed: int, setting: Setting, stove: Stove, plot: Plot, bench: Bench, history: History, truth: Truth,
    rng: np.random.Generator,
) -> Scenario:  # fmt: skip
    """Return the burn as a person would describe it. Only what a plan and a bench can say is filled in."""
    exact = bool(rng.random() < EXACT)
    begins_s = setting.begins_s
    weighs_char = plot.snuffed_s is not None and truth.char_left_g is not None and bool(rng.random() < 0.7)
    snuffed_s = plot.snuffed_s if weighs_char else None
    scenario = Scenario(
        title=title,
        story=f"Drawn by the second simulator with seed {seed}.",
        seed=seed,
        duration_s=float(truth.curves.t_s[-1]),
        channels=_channels(bench),
        fuel=_fuel(setting, stove, history, exact, rng),
        burn=BurnSpec(lit_s=truth.time_of("lit") or 0.0, snuffed_after_s=snuffed_s),
        refuel=tuple(
            RefuelSpec(event.t_s, event.size_g or 0.0, setting.charge.moisture_wet) for event in truth.of_kind("refuel")
        ),
        pot=_pot(setting, truth, exact, rng),
        place=_place(setting.place, exact, rng),
        gap=tuple(GapSpec(from_s, to_s) for from_s, to_s in bench.gaps),
        plan=PlanSpec(
            label=title,
            factors={"fuel": stove.form},
            weighs_water=bool(rng.random() < 0.4),
            weighs_char=weighs_char,
            states_water=bool(rng.random() < 0.9),
        ),
        stove_g=stove.stove_g,
        name=title.replace(" ", "-"),
    )
    # What was burnt before the record began is known from the scales in the kitchen; that it burnt, is all the same.
    return scenario if begins_s == 0.0 else replace(scenario, story=f"{scenario.story} The record begins in mid-burn.")


def _channels(bench: Bench) -> ChannelsSpec:
    water, flame, mass, pot = bench.water, bench.flame, bench.mass, bench.pot_mass
    return ChannelsSpec(
        water=None if water is None else ProbeSpec(rate_hz=water.sampling.hz, lag_s=water.lag_s, bias_c=water.bias_c),
        flame=None if flame is None else FlameProbeSpec(rate_hz=flame.sampling.hz, bead_mm=1000.0 * flame.bead_m),
        mass=None if mass is None else BalanceSpec(rate_hz=mass.sampling.hz, noise_g=mass.noise_g),
        pot_mass=None if pot is None else BalanceSpec(rate_hz=pot.sampling.hz, noise_g=pot.noise_g),
        ambient=None if bench.ambient is None else AmbientSpec(bench.ambient.hz),
    )


def _fuel(setting: Setting, stove: Stove, history: History, exact: bool, rng: np.random.Generator) -> FuelSpec:
    nature, charge = setting.nature, setting.charge
    dry_g = charge.mass_g * (1.0 - charge.moisture_wet)
    char_g = float(history.column["char_g"].max())
    ash = min(0.2, nature.ash_fraction * dry_g / char_g) if char_g > 1.0 else 0.03
    spec = FuelSpec(
        form=stove.form,
        mass_g=round(charge.mass_g, 2),
        moisture_wet=round(charge.moisture_wet, 4),
        lhv_dry_j_g=round(nature.lhv_dry_j_g),
        # As it lies in the tray, ash and all.
        char_lhv_j_g=round(nature.char_lhv_j_g * (1.0 - ash)),
        ash_fraction=round(nature.ash_fraction, 4),
        starter_g=round(setting.starter_g, 2),
        starter_lhv_j_g=setting.starter_lhv_j_g,
    )
    if exact:
        return spec
    return replace(
        spec,
        mass_g=float(round(charge.mass_g + rng.normal(0.0, 0.6))),
        moisture_wet=float(np.clip(round(charge.moisture_wet + rng.normal(0.0, 0.01), 2), 0.02, 0.5)),
        lhv_dry_j_g=float(round(nature.lhv_dry_j_g * rng.normal(1.0, 0.02), -2)),
        char_lhv_j_g=float(round(spec.char_lhv_j_g * rng.normal(1.0, 0.03), -2)),
    )


def _pot(setting: Setting, truth: Truth, exact: bool, rng: np.random.Generator) -> PotSpec | None:
    vessel = setting.vessel
    if vessel is None:
        return None
    first = next(deed for deed in setting.deeds if deed.kind == "pot_on")
    visits = tuple(
        VisitSpec(stay.pot_on_s, stay.pot_off_s, None, stay.water_start_g, first.water_c) for stay in truth.stays
    )
    tare_g, metal_j_k = round(vessel.tare_g, 1), round(vessel.metal_j_k, 1)
    if not exact:
        tare_g = float(round(vessel.tare_g + rng.normal(0.0, 0.5)))
        metal_j_k = round(vessel.metal_j_k * between(rng, 0.92, 1.08), 1)
    return PotSpec(
        tare_g=tare_g,
        heat_capacity_j_k=metal_j_k,
        diameter_m=vessel.diameter_m,
        lid=first.lid,
        lid_g=round(vessel.lid_g, 1),
        stands="pot_cell" if setting.pot_beside else "stove",
        visits=visits,
    )


def _place(place: PlaceSpec, exact: bool, rng: np.random.Generator) -> PlaceSpec:
    if exact:
        return place
    return replace(
        place,
        altitude_m=float(max(0.0, round(place.altitude_m + rng.normal(0.0, 20.0), -1))),
        ambient_c=float(round(place.ambient_c + rng.normal(0.0, 1.0))),
    )
