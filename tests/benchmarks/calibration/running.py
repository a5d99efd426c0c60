"""Guided calibrations on simulated hardware: what each found against the truth, and nonsense that must be refused."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from uncertainties import ufloat

from benchmarks.calibration.hardware import (
    Cell,
    Weighing,
    bath_c,
    cell_of,
    probe_of,
    warm_up,
    weighing,
)
from emberline.bench.air import Place, boiling_point
from emberline.bench.calibration import Linear
from emberline.bench.channels import Role
from emberline.bench.errors import CalibrationError
from emberline.bench.mass_fit import MassFit, expect_like_before, expect_masses, fit_mass
from emberline.bench.probe_fit import BOILING, ICE, MOST_OFF_C, Bath, ProbeFit, fit_probe, true_temperature
from emberline.bench.samples import Curve
from emberline.trials.calibrating.bath import BathWatch
from emberline.trials.calibrating.load_steps import LoadSteps
from emberline.trials.calibrating.warm_up import drift_of

WINDOW_S = 120.0
"""Readings that a look is given."""
MASS_ERRORS_G = (0.05, 0.5, 1.0)
"""Half-widths of the masses' errors: class M1, and what kitchen scales show."""


@dataclass(frozen=True)
class Recovered:
    """What a calibration found of one quantity.

    Attributes:
        what: The quantity.
        off: What was found less what is true.
        u: Standard uncertainty that was stated.
    """

    what: str
    off: float
    u: float

    @property
    def within(self) -> bool:
        """Whether the truth lies within the stated expanded uncertainty (k = 2)."""
        return abs(self.off) <= 2.0 * self.u


def weigh(work: Weighing, masses_g: list[float], u_masses_g: list[float], calibration: Linear) -> MassFit:
    """Calibrate with what a load cell shows, looked at once a second as a person's command does.

    Raises:
        CalibrationError: It was refused.
    """
    steps = LoadSteps(masses_g, u_masses_g, calibration)
    t_ns = np.rint(work.t_s * 1e9).astype(np.int64)
    for now_s in np.arange(5.0, work.t_s[-1], 1.0):
        low, high = np.searchsorted(work.t_s, [now_s - WINDOW_S, now_s]).tolist()
        steps.look(t_ns[low:high], work.raw[low:high])
        if steps.done:
            fit = fit_mass(steps.loads)
            expect_like_before(fit, calibration.counts_per_unit, measured=False)
            return fit
    raise CalibrationError(f"load {steps.taken + 1} was never taken")


def mass_run(seed: int) -> list[Recovered]:
    """Calibrate a load cell with known masses."""
    rng = np.random.default_rng([seed, 1])
    cell = cell_of(rng)
    masses_g = [0.0, round(float(rng.uniform(0.2, 0.6)) * cell.capacity_g, -1), 0.0]
    masses_g.insert(2, round(masses_g[1] / 2.0, -1))
    error_g = float(rng.choice(MASS_ERRORS_G))
    true_g = [mass + float(rng.uniform(-error_g, error_g)) if mass else 0.0 for mass in masses_g]
    u_g = [error_g / sqrt(3.0) if mass else 0.0 for mass in masses_g]
    fit = weigh(weighing(cell, true_g, rng), masses_g, u_g, cell.nominal)
    return [
        Recovered("slope", fit.counts_per_g / cell.counts_per_g - 1.0, fit.u_span),
        Recovered("zero", (fit.zero_counts - cell.zero_counts) / cell.counts_per_g, fit.u_zero_g),
    ]


def probe_run(seed: int) -> list[Recovered]:
    """Calibrate a probe in ice and in boiling water, where the pressure is measured or follows from the altitude."""
    rng = np.random.default_rng([seed, 2])
    probe, pressure_pa = probe_of(rng), float(rng.uniform(80e3, 104e3))
    boiling = boiling_point(Place(pressure_pa=ufloat(pressure_pa + float(rng.normal(0.0, 100.0)), 100.0)))
    names = [(ICE, BOILING), (BOILING,), (ICE,)][seed % 3]
    baths, found = [], []
    for name in names:
        t_s, around_c, true_c = bath_c(name, pressure_pa, rng, 150.0)
        baths.append(_bath(name, t_s, probe.reads(around_c, t_s, rng), probe.step_c, boiling))
        if name == names[-1]:
            found = [(name, -probe.off_c(true_c))]
    fit = fit_probe(baths)
    return [Recovered(f"probe in {name}", fit.correction_c - truth, fit.u_correction_c) for name, truth in found]


def _bath(name: str, t_s: np.ndarray, shown_c: np.ndarray, step_c: float, boiling: object) -> Bath:
    true_c, u_true_c = true_temperature(name, boiling)
    watch = BathWatch(step_c)
    t_ns = np.rint(t_s * 1e9).astype(np.int64)
    for now_s in np.arange(1.0, t_s[-1], 1.0):
        high = int(np.searchsorted(t_s, now_s))
        if watch.look(t_ns[:high], shown_c[:high], true_c, MOST_OFF_C) and watch.mean_c is not None:
            return Bath(name, watch.mean_c, watch.u_mean_c, true_c, u_true_c)
    raise CalibrationError("the probe never settled")


def drift_run(seed: int) -> list[Recovered]:
    """Find a load cell's drift from a warm-up run."""
    rng = np.random.default_rng([seed, 3])
    cell = cell_of(rng)
    run = warm_up(cell, rng, rise_k=float(rng.uniform(7.0, 16.0)))
    curves = {Role.MASS: Curve(run.t_s, run.zero_g), Role.CELL_TEMPERATURE: Curve(run.cell_t_s, run.cell_c)}
    fit = drift_of(curves)
    return [Recovered("drift", fit.g_per_k - cell.spec.drift_g_k, fit.u_g_per_k)]


RUNS: dict[str, Callable[[int], list[Recovered]]] = {"mass": mass_run, "probe": probe_run, "drift": drift_run}


# Nonsense: each is tried on hardware of its own and returns the reason for which it was refused.


def _typed(typed_g: list[float], laid_g: list[float], seed: int, **more: float) -> None:
    rng = np.random.default_rng([seed, 4])
    cell = _five_kilograms(rng)
    weigh(weighing(cell, laid_g, rng, **more), typed_g, [0.3] * len(typed_g), cell.nominal)


def _five_kilograms(rng: np.random.Generator) -> Cell:
    cell = cell_of(rng)
    slope = 419.0 * cell.counts_per_g / cell.nominal.counts_per_unit
    spec = replace(cell.spec, capacity_g=5000.0, counts_per_g=slope, noise_g=0.08, flicker_g=0.05)
    return Cell(5000.0, Linear(cell.nominal.zero_counts, 419.0), slope, cell.zero_counts, spec)


def _swapped(seed: int) -> None:
    rng = np.random.default_rng([seed, 4])
    cell = cell_of(rng, swapped=True)
    part_g = cell.capacity_g / 4.0
    laid_g = [0.0, part_g, part_g / 2.0, 0.0]
    weigh(weighing(cell, laid_g, rng), laid_g, [0.1] * 4, cell.nominal)


def _in_water(bath: str, off_c: float, seed: int) -> ProbeFit:
    rng = np.random.default_rng([seed, 5])
    probe = replace(probe_of(rng), bias_c=0.5)
    t_s, around_c, _ = bath_c(bath, 101_325.0, rng, 200.0)
    boiling = boiling_point(Place(pressure_pa=ufloat(101_325.0, 100.0)))
    return fit_probe([_bath(bath, t_s, probe.reads(around_c + off_c, t_s, rng), probe.step_c, boiling)])


def _warmed(rise_k: float, seed: int, *, put_g: float = 0.0, burns_g_s: float = 0.0) -> None:
    rng = np.random.default_rng([seed, 6])
    run = warm_up(_five_kilograms(rng), rng, rise_k=rise_k)
    zero_g = run.zero_g + put_g * (run.t_s > 1700.0) - burns_g_s * run.t_s
    drift_of({Role.MASS: Curve(run.t_s, zero_g), Role.CELL_TEMPERATURE: Curve(run.cell_t_s, run.cell_c)})


NONSENSE: dict[str, tuple[Callable[[int], object], str]] = {
    "twice the mass that was typed": (
        lambda seed: _typed([0, 500, 250, 0], [0, 1000, 500, 0], seed),
        "was another mass laid on than was typed",
    ),
    "the middle mass typed wrong": (
        lambda seed: _typed([0, 1000, 500, 0], [0, 1000, 600, 0], seed),
        "typed wrong",
    ),
    "something left on the cell": (lambda seed: _typed([0, 1000, 500, 0], [0, 1000, 500, 12], seed), "left on it"),
    "more than the cell can carry": (
        lambda seed: _typed([0, 4000, 2000, 0], [0, 6000, 3000, 0], seed),
        "end of its range",
    ),
    "a mass far too small": (lambda _: expect_masses([0, 100, 50, 0], 5000.0), "too little"),
    "a mass beyond the capacity": (lambda _: expect_masses([0, 6000, 3000, 0], 5000.0), "more than the cell can carry"),
    "wind": (lambda seed: _typed([0, 1000, 500, 0], [0, 1000, 500, 0], seed, wind_g=12.0, each_s=130.0), "to rest"),
    "nothing laid on": (lambda seed: _typed([0, 1000, 500, 0], [0, 0, 0, 0], seed, each_s=60.0), "did not change"),
    "swapped wires": (_swapped, "the other way round"),
    "ice of 60 °C": (lambda seed: _in_water(ICE, 60.0, seed), "no ice water"),
    "a shorted probe in ice": (lambda seed: _in_water(ICE, 24.0, seed), "no ice water"),
    "water that does not boil": (lambda seed: _in_water(BOILING, -14.0, seed), "no boiling water"),
    "a cell that was not warmed": (lambda seed: _warmed(2.0, seed), "K only"),
    "a burn taken for a warm-up": (
        lambda seed: _warmed(10.0, seed, burns_g_s=0.15),
        "something burnt",
    ),
    "something laid on meanwhile": (lambda seed: _warmed(10.0, seed, put_g=40.0), "the load changed"),
}


def refusal(name: str, seed: int) -> str:
    """Return the reason for which a piece of nonsense was refused; empty where it was taken."""
    try:
        NONSENSE[name][0](seed)
    except CalibrationError as error:
        return str(error)
    return ""
