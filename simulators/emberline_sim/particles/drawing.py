"""Draws fuel, stove, pot and place of a burn from published or customary ranges.

Net calorific values of dry wood 17.5 to 19.9 MJ/kg (Energies 15(4) 1442, 2022, appendix A); ash-free char 30 to
33 MJ/kg; moisture of air-dry wood 7 to 18 %, wet basis; superficial consumption of such beds 0.014 to 0.036 kg/(m2 s),
which is 5 to 15 g/min in a bore of 10 cm; char 10 to 25 % of the fuel (James, Yuan and Boyette, Energies 9(4) 283,
2016, for chips). Pots and people: common practice, no source.
"""

from dataclasses import dataclass

import numpy as np

from emberline_sim.particles.bed import AIR_J_G
from emberline_sim.particles.fuel import Charge, Hearth, Nature
from emberline_sim.particles.gas import Burner
from emberline_sim.particles.kinds import Kind
from emberline_sim.particles.vessel import Vessel
from emberline_sim.trial_specs import FormName, PlaceSpec

NEEDS_J_G = 800.0
"""Heat that a gram of air-dry fuel takes up until it pyrolyses."""
VOLATILES_J_G = 13200.0


@dataclass(frozen=True, slots=True)
class FormRange:
    """Ranges of one form of fuel: thickness, its spread, bulk density, batch, consumption.

    `taken_up` is the share of the heat of the primary air's burning that raw fuel takes up, found by running the bed.
    """

    size_m: tuple[float, float]
    size_spread: float
    bulk_g_m3: tuple[float, float]
    batch_g: tuple[float, float]
    flux_g_m2s: tuple[float, float]
    taken_up: float


FORM_RANGES: dict[FormName, FormRange] = {
    "pellets": FormRange((0.006, 0.008), 0.05, (600e3, 700e3), (180.0, 500.0), (14.0, 24.0), 0.170),
    "chips": FormRange((0.005, 0.010), 0.40, (160e3, 260e3), (100.0, 300.0), (15.0, 28.0), 0.115),
    "sticks": FormRange((0.007, 0.012), 0.25, (150e3, 240e3), (100.0, 250.0), (17.0, 30.0), 0.110),
    "pieces": FormRange((0.012, 0.022), 0.35, (230e3, 340e3), (150.0, 400.0), (16.0, 28.0), 0.095),
}


@dataclass(frozen=True, slots=True)
class Stove:
    """Fuel and stove of one burn, and what may be expected of them."""

    form: FormName
    nature: Nature
    charge: Charge
    hearth: Hearth
    burner: Burner
    starter_g: float
    lighter_s: float
    stove_g: float
    rate_g_s: float

    @property
    def power_w(self) -> float:
        """Expected power while flaming."""
        return self.rate_g_s * VOLATILES_J_G

    @property
    def burns_s(self) -> float:
        """Expected time from lighting to flameout."""
        return 0.85 * self.charge.mass_g / self.rate_g_s + 90.0


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Return a number from a flat distribution."""
    return float(rng.uniform(low, high))


def draw_stove(kind: Kind, rng: np.random.Generator) -> Stove:
    """Draw a fuel and a stove that fits it."""
    form = tuple(FORM_RANGES)[int(rng.integers(len(FORM_RANGES)))]
    ranges = FORM_RANGES[form]
    moisture = between(rng, *(kind.moisture or ((0.06, 0.10) if form == "pellets" else (0.07, 0.18))))
    bulk = between(rng, *ranges.bulk_g_m3)
    mass_g = between(rng, *ranges.batch_g)
    # A bore in which the batch stands 5 to 16 cm high.
    height_m = between(rng, 0.05, 0.09) if form == "pellets" else between(rng, 0.07, 0.16)
    bore_m = float(np.clip(np.sqrt(mass_g / bulk / height_m * 4.0 / np.pi), 0.075, 0.14))
    area_m2 = 0.25 * np.pi * bore_m**2
    rate_g_s = between(rng, *ranges.flux_g_m2s) * area_m2
    if kind.moisture is not None:
        rate_g_s *= 0.85
    hearth = Hearth(
        bore_m=bore_m,
        air_g_s=rate_g_s * NEEDS_J_G / ranges.taken_up / AIR_J_G,
        heat_share=between(rng, 0.88, 1.0),
        bypass=between(rng, 0.01, 0.06),
        keeps=between(rng, 0.32, 0.60),
        metal_j_k=between(rng, 20.0, 90.0),
    )
    nature = Nature(
        lhv_dry_j_g=between(rng, 17500.0, 19800.0),
        char_lhv_j_g=between(rng, 30000.0, 33000.0),
        ash_fraction=between(rng, 0.003, 0.015),
        char_bias=between(rng, 0.55, 1.05),
        glow_1_s=between(rng, 0.9e-3, 2.4e-3),
    )
    burner = Burner(
        critical_g_m2s=between(rng, 1.3, 2.8),
        hesitation_s=between(rng, 1.5, 6.0),
        rekindling_s=between(rng, 2.0, 8.0),
        gas_g_s=rate_g_s * VOLATILES_J_G / 1000.0 * between(rng, 0.8, 1.15),
        gust_m_s=between(rng, 2.5, 4.0),
    )
    charge = Charge(mass_g, moisture, between(rng, 0.005, 0.02), between(rng, *ranges.size_m), ranges.size_spread, bulk)
    starter_g = float(rng.choice((0.0, 3.0, 4.0, 6.0, 8.0))) * (1.4 if kind.moisture is not None else 1.0)
    if form == "pieces":
        # Thick pieces want more help: nobody lights them with less.
        starter_g = max(6.0, starter_g)
    lighter_s = between(rng, 15.0, 40.0) if starter_g > 0.0 else between(rng, 100.0, 160.0)
    return Stove(form, nature, charge, hearth, burner, starter_g, lighter_s, between(rng, 250.0, 1800.0), rate_g_s)


def draw_vessel(kind: Kind, stove: Stove, rng: np.random.Generator) -> Vessel:
    """Draw a pot."""
    tare_g = between(rng, 120.0, 600.0)
    lid_g = between(rng, 40.0, 180.0) if rng.random() < kind.lid else 0.0
    diameter_m = between(rng, max(0.11, 0.9 * stove.hearth.bore_m), 0.19)
    units, leak, air = between(rng, 0.45, 0.75), between(rng, 0.25, 0.8), between(rng, 3.0, 6.5)
    if kind.weak:
        # Too high above the flame, in moving air: it settles where it loses what it gets.
        units, leak, air = between(rng, 0.10, 0.17), between(rng, 1.0, 2.0), between(rng, 7.0, 10.0)
        diameter_m = between(rng, 0.17, 0.21)
    return Vessel(
        tare_g=tare_g,
        # Steel, aluminium: 0.49 and 0.90 J/(g K), handbook values.
        metal_j_k=tare_g * float(rng.choice((0.49, 0.49, 0.90))),
        diameter_m=diameter_m,
        lid_g=lid_g,
        transfer_units=units,
        view=between(rng, 0.30, 0.45) if kind.pot == "late" else between(rng, 0.05, 0.25),
        leak_w_k=leak,
        air_w_m2k=air,
        bubble_k=between(rng, 0.2, 0.9),
    )


def draw_place(kind: Kind, rng: np.random.Generator) -> PlaceSpec:
    """Draw a place and its weather."""
    return PlaceSpec(
        altitude_m=between(rng, *kind.altitude_m),
        weather_pa=float(np.clip(rng.normal(0.0, 650.0), -1800.0, 1800.0)),
        ambient_c=between(rng, 2.0, 32.0),
        ambient_rise_c=between(rng, -2.0, 2.0),
        humidity=between(rng, 0.25, 0.9),
        wind_m_s=between(rng, *kind.wind_m_s),
        gustiness=between(rng, 0.25, 0.5),
    )
