"""One burn recorded: the course of a scenario seen through every channel of its bench, with the truth beside it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline_sim.balance import read_balance
from emberline_sim.course import Course, rng_of, run_course
from emberline_sim.flame import read_flame
from emberline_sim.load import air_forces_g, deeds_g, fuel_load_g, pot_load_g, pot_pushes_g, tipped_g
from emberline_sim.probe import read_water
from emberline_sim.sampling import sample_times_s
from emberline_sim.scenario import Scenario
from emberline_sim.specs import BalanceSpec
from emberline_sim.truth import TrueCurves, TrueEvent, TrueStay, Truth, truth_of

__all__ = ["ChannelRecord", "Recording", "TrueCurves", "TrueEvent", "TrueStay", "Truth", "record"]

UNITS = {
    "water": "c", "flame": "c", "ambient": "c", "cell_temperature": "c", "mass": "g", "pot_mass": "g", "pressure": "pa",
}  # fmt: skip
AMBIENT_STEP_C = 0.0625


@dataclass(frozen=True, slots=True, eq=False)
class ChannelRecord:
    """What one channel delivered.

    Attributes:
        role: Its role, which is also its name.
        unit: `c`, `g` or `pa`.
        t_s: (n,) true sample times, seconds from the start of the record, increasing.
        value: (n,) physical value after the converter's errors and steps; NaN where the converter reports a fault.

    """

    role: str
    unit: str
    t_s: NDArray[np.float64]
    value: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A scenario, what its channels delivered, and what truly happened."""

    scenario: Scenario
    channels: dict[str, ChannelRecord]
    truth: Truth


def record(scenario: Scenario) -> Recording:
    """Run a scenario and read all its channels. The same scenario and seed give the same recording."""
    course = run_course(scenario)
    channels = {name: ChannelRecord(name, UNITS[name], t_s, value) for name, t_s, value in _readings(scenario, course)}
    return Recording(scenario, channels, truth_of(scenario, course))


def _readings(scenario: Scenario, course: Course) -> list[tuple[str, NDArray[np.float64], NDArray[np.float64]]]:
    fitted = scenario.channels
    readings: list[tuple[str, NDArray[np.float64], NDArray[np.float64]]] = []

    def times(name: str, rate_hz: float, every: int = 1) -> NDArray[np.float64]:
        return sample_times_s(
            scenario.duration_s, rate_hz, every, scenario.gap, name, rng_of(scenario, f"{name} times")
        )

    if fitted.water is not None:
        t_s = times("water", fitted.water.rate_hz)
        readings.append(("water", t_s, read_water(t_s, course, fitted.water, rng_of(scenario, "water"))))
    if fitted.flame is not None:
        t_s = times("flame", fitted.flame.rate_hz)
        readings.append(("flame", t_s, read_flame(t_s, course, fitted.flame, rng_of(scenario, "flame"))))
    if fitted.mass is not None:
        t_s = times("mass", fitted.mass.rate_hz, fitted.mass.every)
        readings.append(("mass", t_s, _stove_cell(t_s, scenario, course, fitted.mass)))
    if fitted.pot_mass is not None:
        t_s = times("pot_mass", fitted.pot_mass.rate_hz, fitted.pot_mass.every)
        readings.append(("pot_mass", t_s, _pot_cell(t_s, scenario, course, fitted.pot_mass)))
    for name, source, spec in (
        ("ambient", "ambient_c", fitted.ambient),
        ("cell_temperature", "cell_c", fitted.cell_temperature),
    ):
        if spec is not None:
            t_s = times(name, spec.rate_hz)
            noise = rng_of(scenario, name).normal(0.0, spec.noise_c, len(t_s))
            value = np.interp(t_s, course.t_s, course.column[source]) + noise
            readings.append((name, t_s, np.round(value / AMBIENT_STEP_C) * AMBIENT_STEP_C))
    if fitted.pressure is not None:
        t_s = times("pressure", fitted.pressure.rate_hz)
        noise = rng_of(scenario, "pressure").normal(fitted.pressure.bias_pa, fitted.pressure.noise_pa, len(t_s))
        readings.append(("pressure", t_s, np.round(course.pressure_pa + noise)))
    return readings


def _stove_cell(t_s: NDArray[np.float64], scenario: Scenario, course: Course, spec: BalanceSpec) -> NDArray[np.float64]:
    load_g = scenario.stove_g + fuel_load_g(t_s, scenario, course, rng_of(scenario, "fuel load"))
    load_g += deeds_g(t_s, scenario, rng_of(scenario, "deeds"))
    load_g += air_forces_g(t_s, course, spec.draught_g, spec.wind_g_m2s2, rng_of(scenario, "air forces"))
    pot_g = np.zeros_like(t_s)
    if scenario.pot is not None and scenario.pot.stands == "stove":
        pot_g = pot_load_g(t_s, scenario, course)
        load_g += pot_g + pot_pushes_g(t_s, course, rng_of(scenario, "pot hands"))
    load_g = tipped_g(t_s, scenario, load_g)
    warming_k = np.interp(t_s, course.t_s, course.column["cell_c"] - course.column["cell_c"][0])
    return read_balance(t_s, load_g, pot_g, warming_k, scenario.stove_g, spec, rng_of(scenario, "mass"))


def _pot_cell(t_s: NDArray[np.float64], scenario: Scenario, course: Course, spec: BalanceSpec) -> NDArray[np.float64]:
    pot_g = np.zeros_like(t_s)
    if scenario.pot is not None and scenario.pot.stands == "pot_cell":
        pot_g = pot_load_g(t_s, scenario, course) + pot_pushes_g(t_s, course, rng_of(scenario, "pot hands"))
    pot_g += air_forces_g(t_s, course, 0.0, spec.wind_g_m2s2, rng_of(scenario, "pot air forces"))
    warming_k = np.interp(t_s, course.t_s, course.column["cell_c"] - course.column["cell_c"][0])
    return read_balance(t_s, pot_g, pot_g, warming_k, 0.0, spec, rng_of(scenario, "pot_mass"))
