"""The type K probe in the flame: flickering gas, a bead that radiates and lags, char glow afterwards."""

import math

import numpy as np
from numpy.typing import NDArray

from emberline_sim.air import wandering
from emberline_sim.course import STEP_S, Course
from emberline_sim.probe import CONVERTER_STEP_C, converted
from emberline_sim.specs import FlameProbeSpec

STEFAN_BOLTZMANN = 5.670374419e-8
EMISSIVITY = 0.8
GAS_SPEED_M_S = 2.0
STEEL_J_M3K = 4.0e6
FINE_S = 0.2


def convection_w_m2k(bead_m: float, speed_m_s: float, gas_c: float) -> float:
    """Return the heat transfer of a sphere in hot air (Ranz-Marshall: Nu = 2 + 0.6 Re^1/2 Pr^1/3; from memory)."""
    film_k = 0.5 * (gas_c + 400.0) + 273.15
    conductivity = 0.0263 * math.pow(film_k / 300.0, 0.85)
    viscosity_m2_s = 1.59e-5 * math.pow(film_k / 300.0, 1.72)
    reynolds = speed_m_s * bead_m / viscosity_m2_s
    return conductivity / bead_m * (2.0 + 0.6 * math.sqrt(reynolds) * math.pow(0.7, 1.0 / 3.0))


def settled_bead_c(gas_c: float, surroundings_c: float, bead_m: float, speed_m_s: float = GAS_SPEED_M_S) -> float:
    """Return the temperature at which a bead's radiation equals its convective gain, by bisection."""
    h_w_m2k = convection_w_m2k(bead_m, speed_m_s, gas_c)
    low, high = min(gas_c, surroundings_c), max(gas_c, surroundings_c)
    for _ in range(40):
        bead_c = 0.5 * (low + high)
        gain = h_w_m2k * (gas_c - bead_c)
        loss = EMISSIVITY * STEFAN_BOLTZMANN * ((bead_c + 273.15) ** 4 - (surroundings_c + 273.15) ** 4)
        low, high = (bead_c, high) if gain > loss else (low, bead_c)
    return 0.5 * (low + high)


def gas_temperature_c(course: Course, spec: FlameProbeSpec, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) the gas temperature at the bead at the course's steps: flame, char glow, or air."""
    column, n = course.column, len(course.t_s)
    power = column["flame_w"] / max(course.nominal_power_w, 1.0)
    glow = np.clip(column["char_g_s"] * 60.0, 0.0, 1.6)
    # The gas over glowing char cools with the glow, the body of the stove slower still.
    glow_share = np.minimum(1.0, 0.45 + 0.55 * np.sqrt(glow))
    over_char_c = column["ambient_c"] + np.where(
        glow > 0.0, (spec.char_gas_c - column["ambient_c"]) * glow_share, 0.5 * (column["body_c"] - column["ambient_c"])
    )
    reach = 1.3 * power / (power + 0.3)
    flame_c = over_char_c + (spec.gas_c - over_char_c) * np.minimum(reach, 1.1)
    # A low flame sways more, and now and then leaves the bead altogether.
    lowness = np.clip(1.6 - power, 0.6, 1.6)
    flicker = spec.flicker_c * lowness * (0.8 * wandering(n, STEP_S, 1.0, rng) + 0.6 * wandering(n, STEP_S, 12.0, rng))
    missed = wandering(n, STEP_S, 4.0, rng) > np.where(power < 0.35, 1.0, 2.2)
    flame_c = np.where(missed, 0.6 * flame_c + 0.4 * over_char_c, flame_c) + flicker
    gas = np.where(column["flame"] > 0.5, flame_c, over_char_c + 0.12 * flicker * (glow > 0.0))
    return np.maximum(gas, column["ambient_c"])


def read_flame(
    t_s: NDArray[np.float64], course: Course, spec: FlameProbeSpec, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) readings of the flame probe in °C, NaN where the converter reports an open lead."""
    gas = gas_temperature_c(course, spec, rng)
    fine_s = np.arange(0.0, course.t_s[-1] + FINE_S, FINE_S)
    bead_m = spec.bead_mm / 1000.0
    h_w_m2k = convection_w_m2k(bead_m, GAS_SPEED_M_S, spec.gas_c)
    heat_j_m2k = STEEL_J_M3K * bead_m / 6.0
    walls_k4 = ((np.interp(fine_s, course.t_s, course.column["body_c"]) + 273.15) ** 4).tolist()
    bead_c = float(gas[0])
    shown = np.empty_like(fine_s)
    for i, gas_c in enumerate(np.interp(fine_s, course.t_s, gas).tolist()):
        radiated = EMISSIVITY * STEFAN_BOLTZMANN * ((bead_c + 273.15) ** 4 - walls_k4[i])
        bead_c += (h_w_m2k * (gas_c - bead_c) - radiated) * FINE_S / heat_j_m2k
        shown[i] = bead_c
    ambient = np.interp(t_s, course.t_s, course.column["ambient_c"])
    value = np.interp(t_s, fine_s, shown)
    value = value + spec.gain * (value - ambient)
    return converted(t_s, value, ambient, spec.noise_c, CONVERTER_STEP_C[spec.converter], spec.faults, rng)
