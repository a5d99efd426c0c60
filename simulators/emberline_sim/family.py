"""Families of random scenarios, for judging a host on variety instead of on single burns.

Parameters are drawn from the published and customary ranges that the specs and forms name: moisture of air-dry and
damp fuel, net calorific values of dry wood 17.5 to 19.9 MJ/kg (Energies 15(4) 1442, 2022, appendix A), char 28 to
31.5 MJ/kg, class-2 type K wires, hobby load cells, and habits of people with pots.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from emberline_sim.errors import ScenarioError
from emberline_sim.forms import FORMS
from emberline_sim.scenario import Scenario, check
from emberline_sim.specs import AmbientSpec, BalanceSpec, ChannelsSpec, FlameProbeSpec, GapSpec, ProbeSpec
from emberline_sim.trial_specs import BurnSpec, FormName, FuelSpec, PlaceSpec, PlanSpec, PotSpec, RefuelSpec, VisitSpec

Habit = Literal["lifts", "keeps", "two_fillings", "no_pot"]
HANDS_APART_S = 45.0
FORM_NAMES: tuple[FormName, ...] = ("pellets", "chips", "sticks", "pieces")


@dataclass(frozen=True, slots=True)
class Family:
    """What the members of a family share.

    Attributes:
        forms: Fuel forms to draw from.
        refuels: Fewest and most refuels.
        habit: What is done with the pot.
        altitude_m: Range.
        wind_m_s: Range of the mean wind.
        pot_takes: Range of the share of the flame's power that the pot takes.
        flame_probe: Chance of a flame probe.
        water_probe: Whether there is one.
        hz: Rates of the mass channel to draw from.
        gaps: Most gaps in the record.
        interrupted: Whether the flame dies early; `relit` also brings it back.
    """

    forms: tuple[FormName, ...] = FORM_NAMES
    refuels: tuple[int, int] = (0, 0)
    habit: Habit = "lifts"
    altitude_m: tuple[float, float] = (0.0, 1500.0)
    wind_m_s: tuple[float, float] = (0.0, 0.5)
    pot_takes: tuple[float, float] = (0.36, 0.50)
    flame_probe: float = 0.8
    water_probe: bool = True
    hz: tuple[float, ...] = (5.0, 10.0, 10.0, 20.0)
    gaps: int = 0
    interrupted: Literal["no", "dies", "relit"] = "no"


FAMILIES: dict[str, Family] = {
    "pellets": Family(forms=("pellets",)),
    "chips": Family(forms=("chips",)),
    "sticks": Family(forms=("sticks",)),
    "pieces": Family(forms=("pieces",)),
    "refuelled": Family(forms=("chips", "sticks", "pieces"), refuels=(1, 2)),
    "kept_on": Family(habit="keeps"),
    "two_fillings": Family(forms=("pellets", "chips", "pieces"), habit="two_fillings"),
    "no_pot": Family(habit="no_pot", refuels=(0, 1)),
    "weak": Family(forms=("pellets", "chips"), habit="keeps", pot_takes=(0.22, 0.30)),
    "windy": Family(wind_m_s=(1.0, 2.2)),
    "high": Family(altitude_m=(2000.0, 3900.0)),
    "no_flame_probe": Family(flame_probe=0.0, refuels=(0, 1)),
    "mass_only": Family(flame_probe=0.0, water_probe=False, habit="no_pot", refuels=(0, 1)),
    "coarse": Family(flame_probe=0.3, hz=(1.0,), gaps=2, refuels=(0, 1)),
    "dies_early": Family(forms=("pellets", "chips", "pieces"), interrupted="dies"),
    "relit": Family(forms=("pellets", "chips", "pieces"), interrupted="relit"),
}
"""The families by name."""

_MASS_G = {"pellets": (190.0, 400.0), "chips": (130.0, 260.0), "sticks": (95.0, 190.0), "pieces": (160.0, 320.0)}
_MOISTURE = {"pellets": (0.06, 0.10), "chips": (0.08, 0.18), "sticks": (0.08, 0.18), "pieces": (0.09, 0.20)}


def random_scenario(seed: int, family: str) -> Scenario:
    """Draw one member of a family; the same seed gives the same member.

    Raises:
        ScenarioError: The family is unknown.
    """
    if family not in FAMILIES:
        raise ScenarioError(f"unknown family {family!r}; known: {', '.join(FAMILIES)}")
    kin = FAMILIES[family]
    rng = np.random.default_rng([seed, *family.encode()])
    form = kin.forms[int(rng.integers(len(kin.forms)))]
    fuel = _fuel(form, rng)
    burn = BurnSpec(
        lit_s=_between(rng, 35.0, 120.0),
        rate_factor=_between(rng, 0.8, 1.2),
        wander_factor=_between(rng, 0.6, 1.5),
        trend=_between(rng, -0.3, 0.3),
        ramp_factor=_between(rng, 0.7, 1.4),
        extinction=_between(rng, 0.05, 0.14),
        char_factor=_between(rng, 0.7, 1.3),
        char_cooling_s=_between(rng, 700.0, 1800.0),
    )
    burning_s = 60.0 * fuel.mass_g / (FORMS[form].rate_g_min * burn.rate_factor)
    refuels = [
        RefuelSpec(
            t_s=burn.lit_s + burning_s * _between(rng, 0.6, 0.95) * (1.0 + 0.5 * index),
            mass_g=fuel.mass_g * _between(rng, 0.2, 0.45),
            moisture_wet=fuel.moisture_wet,
            over_s=_between(rng, 2.0, 14.0),
            dip=_between(rng, 0.05, 0.2),
            recovery_s=_between(rng, 8.0, 18.0),
        )
        for index in range(int(rng.integers(kin.refuels[0], kin.refuels[1] + 1)))
    ]
    total_s = burning_s * (1.0 + sum(refuel.mass_g for refuel in refuels) / fuel.mass_g)
    if kin.interrupted != "no":
        dies_s = burn.lit_s + burning_s * _between(rng, 0.35, 0.6)
        back_s = dies_s + _between(rng, 150.0, 420.0) if kin.interrupted == "relit" else None
        burn = replace(burn, smother_s=dies_s, relit_s=back_s)
        total_s += 600.0
    duration_s = float(round(burn.lit_s + 1.55 * total_s + _between(rng, 600.0, 1500.0)))
    scenario = Scenario(
        title=f"{family} {seed}",
        story=f"Drawn from the family {family} with seed {seed}.",
        seed=seed,
        duration_s=duration_s,
        channels=_channels(kin, rng),
        fuel=fuel,
        burn=burn,
        refuel=tuple(refuels),
        pot=_pot(kin, burn.lit_s, total_s, tuple(refuel.t_s for refuel in refuels), rng),
        place=PlaceSpec(
            altitude_m=_between(rng, *kin.altitude_m),
            weather_pa=float(np.clip(rng.normal(0.0, 700.0), -1800.0, 1800.0)),
            ambient_c=_between(rng, 3.0, 31.0),
            ambient_rise_c=_between(rng, -1.5, 2.0),
            humidity=_between(rng, 0.3, 0.85),
            wind_m_s=_between(rng, *kin.wind_m_s),
            gustiness=_between(rng, 0.25, 0.5),
        ),
        gap=_gaps(kin, duration_s, rng),
        plan=PlanSpec(label=f"{family} {seed}", factors={"fuel": form}, weighs_water=bool(rng.random() < 0.7)),
        stove_g=_between(rng, 250.0, 1400.0),
        name=f"{family}-{seed}",
    )
    check(scenario)
    return scenario


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def _fuel(form: FormName, rng: np.random.Generator) -> FuelSpec:
    return FuelSpec(
        form=form,
        mass_g=_between(rng, *_MASS_G[form]),
        moisture_wet=_between(rng, *_MOISTURE[form]),
        lhv_dry_j_g=_between(rng, 17500.0, 19800.0),
        char_lhv_j_g=_between(rng, 28000.0, 31500.0),
        char_yield=float(np.clip(FORMS[form].char_yield * rng.normal(1.0, 0.1), 0.10, 0.25)),
        ash_fraction=_between(rng, 0.003, 0.015),
        starter_g=float(rng.choice((0.0, 2.0, 3.0, 4.0, 6.0))),
    )


def _pot(
    kin: Family, lit_s: float, total_s: float, refuels_s: tuple[float, ...], rng: np.random.Generator
) -> PotSpec | None:
    if kin.habit == "no_pot":
        return None
    tare_g = _between(rng, 150.0, 550.0)
    # Thin steel or aluminium: 0.49 or 0.90 J/(g K), handbook values.
    per_gram = float(rng.choice((0.49, 0.90)))
    on_s = min([lit_s + _between(rng, 75.0, 260.0), *(t_s - 90.0 for t_s in refuels_s)])
    water_g = _between(rng, 400.0, 900.0)
    water_c = _between(rng, 7.0, 25.0)
    soak_s = _between(rng, 25.0, 240.0)
    visits: tuple[VisitSpec, ...]
    if kin.habit == "keeps":
        off_s = None if rng.random() < 0.6 else lit_s + total_s * _between(rng, 0.8, 1.3)
        visits = (VisitSpec(on_s, off_s, None, water_g, water_c),)
    elif kin.habit == "two_fillings":
        middle_s = on_s + 0.42 * total_s
        again_s = middle_s + _between(rng, 60.0, 200.0)
        visits = (
            VisitSpec(on_s, middle_s, soak_s, 0.7 * water_g, water_c),
            VisitSpec(again_s, again_s + 0.5 * total_s, soak_s, 0.7 * water_g, water_c + 1.0),
        )
    elif refuels_s:
        # Who refuels has no hand free for the pot at the same time.
        off_s = on_s + total_s * _between(rng, 0.4, 0.8)
        while any(abs(off_s - t_s) < HANDS_APART_S for t_s in refuels_s):
            off_s += HANDS_APART_S
        visits = (VisitSpec(on_s, off_s, None, water_g, water_c),)
    else:
        visits = (VisitSpec(on_s, on_s + 0.9 * total_s, soak_s, water_g, water_c),)
    lid = bool(rng.random() < 0.25)
    return PotSpec(
        tare_g=tare_g,
        heat_capacity_j_k=per_gram * tare_g,
        diameter_m=_between(rng, 0.12, 0.17),
        lid=lid,
        lid_g=_between(rng, 50.0, 180.0) if lid else 0.0,
        coupling=_between(rng, *kin.pot_takes),
        char_coupling=_between(rng, 0.15, 0.30),
        loss_w_k=_between(rng, 0.3, 0.8),
        air_w_m2k=_between(rng, 3.0, 6.0),
        visits=visits,
    )


def _channels(kin: Family, rng: np.random.Generator) -> ChannelsSpec:
    converter: Literal["coarse", "fine"] = "coarse" if rng.random() < 0.6 else "fine"
    hz = float(rng.choice(kin.hz))
    probe_hz = 1.0 if hz == 1.0 else float(rng.choice((2.0, 4.0, 5.0, 10.0)))
    # Class 2 wire allows ±2.5 K, rectangular (IEC 60584-1): a standard deviation of 1.4 K, here cut at 1.5 K.
    water = ProbeSpec(
        rate_hz=probe_hz,
        lag_s=_between(rng, 0.6, 3.0),
        bias_c=float(np.clip(rng.normal(0.0, 0.7), -1.5, 1.5)),
        cold_junction_c=_between(rng, -0.2, 0.8),
        noise_c=_between(rng, 0.03, 0.2),
        converter=converter,
    )
    flame = FlameProbeSpec(
        rate_hz=probe_hz,
        bead_mm=float(rng.choice((0.5, 1.0, 1.5, 3.0))),
        gas_c=_between(rng, 760.0, 950.0),
        char_gas_c=_between(rng, 400.0, 580.0),
        flicker_c=_between(rng, 40.0, 140.0),
        converter=converter,
    )
    counts_per_g = float(rng.choice((210.0, 419.0, 1000.0)))
    mass = BalanceSpec(
        rate_hz=max(hz, 10.0),
        every=round(max(hz, 10.0) / hz),
        noise_g=_between(rng, 0.04, 0.2),
        flicker_g=_between(rng, 0.02, 0.08),
        span=float(rng.normal(0.0, 0.001)),
        off_centre=float(rng.normal(0.0, 0.0003)),
        creep=_between(rng, 0.0, 0.0006),
        drift_g_k=_between(rng, -0.25, 0.25),
        cell_rise_c=_between(rng, 2.0, 15.0),
        draught_g=_between(rng, 0.3, 1.4),
        wind_g_m2s2=_between(rng, 0.6, 2.0),
        counts_per_g=counts_per_g,
        spikes_per_h=_between(rng, 0.0, 6.0),
        tared_with_stove=bool(rng.random() < 0.5),
    )
    return ChannelsSpec(
        water=water if kin.water_probe and kin.habit != "no_pot" else None,
        flame=flame if rng.random() < kin.flame_probe else None,
        mass=mass,
        ambient=AmbientSpec() if rng.random() < 0.5 else None,
    )


def _gaps(kin: Family, duration_s: float, rng: np.random.Generator) -> tuple[GapSpec, ...]:
    if kin.gaps == 0:
        return ()
    starts = np.sort(rng.uniform(0.0, duration_s - 60.0, int(rng.integers(0, kin.gaps + 1))))
    return tuple(GapSpec(float(start), float(start) + _between(rng, 2.0, 45.0)) for start in starts)
