"""Simulated hardware to calibrate: load cells, probes and warm-up runs, with errors drawn from a seed.

The readings are those of the simulated bench: its load cell with creep, flicker noise, spikes and drift, its converters
with their steps. Magnitudes are those that `emberline_sim` is held to by tests.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.bench.calibration import Linear
from emberline_sim.air import boiling_point_c, wandering
from emberline_sim.balance import read_balance
from emberline_sim.device.converters import bridge
from emberline_sim.handling import pushes_around, ramp
from emberline_sim.probe import CONVERTER_STEP_C, converted, lagged_c
from emberline_sim.sampling import sample_times_s
from emberline_sim.specs import BalanceSpec

Array = NDArray[np.float64]

CELLS = ((2000.0, 1049.0), (5000.0, 419.0), (10000.0, 210.0))
"""Capacity and nominal counts per gram of cells of 1 mV/V on a 24-bit converter at gain 128 and 5 V."""
MASS_HZ, PROBE_HZ, CELL_TEMPERATURE_HZ = 10.0, 4.0, 0.5


@dataclass(frozen=True)
class Cell:
    """A load cell as it truly is.

    Attributes:
        capacity_g: What it can carry.
        nominal: What the device takes for its calibration.
        counts_per_g: Its true slope.
        zero_counts: Its true zero.
        spec: Its errors; its readings are in true grams.
    """

    capacity_g: float
    nominal: Linear
    counts_per_g: float
    zero_counts: float
    spec: BalanceSpec

    def counts(self, t_s: Array, load_g: Array, rng: np.random.Generator, warming_k: Array | None = None) -> Array:
        """Return what the converter sends of a load, NaN for a fault."""
        still = np.zeros_like(t_s)
        shown_g = read_balance(t_s, load_g, still, still if warming_k is None else warming_k, 0.0, self.spec, rng)
        converter = bridge(0, "mass", MASS_HZ, abs(self.counts_per_g), round(self.zero_counts))
        sign = 1.0 if self.counts_per_g > 0.0 else -1.0
        block = converter.convert(t_s, sign * shown_g)
        return np.where(block.faults != 0, np.nan, block.raw.astype(np.float64))


def cell_of(rng: np.random.Generator, swapped: bool = False) -> Cell:
    """Draw a load cell; `swapped` for one whose signal wires are."""
    capacity_g, nominal = CELLS[int(rng.integers(len(CELLS)))]
    slope = nominal * float(1.0 + rng.uniform(-0.15, 0.15)) * (-1.0 if swapped else 1.0)
    spec = BalanceSpec(
        capacity_g=capacity_g,
        counts_per_g=abs(slope),
        noise_g=float(rng.uniform(0.4, 1.6)) * 0.08 * capacity_g / 5000.0,
        flicker_g=float(rng.uniform(0.2, 1.6)) * 0.05 * capacity_g / 5000.0,
        creep=float(rng.uniform(0.0, 6e-4)),
        drift_g_k=float(rng.normal(0.0, 0.1)),
        spikes_per_h=20.0,
    )
    zero = float(rng.uniform(-2e5, 2e5))
    return Cell(capacity_g, Linear(zero * 0.9, nominal), slope, round(zero), spec)


@dataclass(frozen=True)
class Weighing:
    """Loads laid on one after the other.

    Attributes:
        t_s: (n,) times.
        raw: (n,) counts.
    """

    t_s: Array
    raw: Array


def weighing(
    cell: Cell, loads_g: list[float], rng: np.random.Generator, *, each_s: float = 45.0, wind_g: float = 0.0
) -> Weighing:
    """Lay loads on by hand, each for some time, and read the cell.

    Args:
        cell: The cell.
        loads_g: What truly lies on it, the first from the beginning on.
        rng: Chance.
        each_s: Shortest time of each.
        wind_g: Standard deviation of gusts.
    """
    moments = np.cumsum(rng.uniform(each_s, 1.4 * each_s, len(loads_g)))
    t_s = sample_times_s(float(moments[-1]), MASS_HZ, 1, (), "mass", rng)
    load_g = np.full(len(t_s), float(loads_g[0]))
    for at_s, before_g, after_g in zip(moments, loads_g, loads_g[1:], strict=False):
        load_g += (after_g - before_g) * ramp(t_s, at_s, 0.8)
        for push in pushes_around(float(at_s), 1.0, 1.2, 35.0, rng, leaning=0.5):
            load_g += push.at(t_s)
    if wind_g:
        load_g += wind_g * wandering(len(t_s), 1.0 / MASS_HZ, 2.0, rng)
    warming_k = np.interp(t_s, [0.0, t_s[-1]], [0.0, float(rng.uniform(-0.3, 0.3))])
    return Weighing(t_s, cell.counts(t_s, load_g, rng, warming_k))


@dataclass(frozen=True)
class Probe:
    """A probe as it truly is: what it shows is off by `bias_c`, and by `gain` of its distance from the air's 20 °C."""

    bias_c: float
    gain: float
    converter: str
    noise_c: float
    lag_s: float

    def off_c(self, true_c: float) -> float:
        """Return what it shows more than a temperature."""
        return self.bias_c + self.gain * (true_c - 20.0)

    @property
    def step_c(self) -> float:
        """Step of its readings."""
        return CONVERTER_STEP_C[self.converter]

    def reads(self, around_c: Array, t_s: Array, rng: np.random.Generator) -> Array:
        """Return its readings in surroundings at its own sampling times."""
        shown = lagged_c(around_c, np.full(len(t_s), self.lag_s), 1.0 / PROBE_HZ)
        value = shown + self.bias_c + self.gain * (shown - 20.0)
        return converted(t_s, value, np.full(len(t_s), 25.0), self.noise_c, self.step_c, (), rng)


def probe_of(rng: np.random.Generator) -> Probe:
    """Draw a probe: wire of class 2 and a cheap converter, or better ones."""
    return Probe(
        float(np.clip(rng.normal(0.0, 1.2), -3.5, 3.5)),
        float(rng.normal(0.0, 0.003)),
        "coarse" if rng.random() < 0.7 else "fine",
        float(rng.uniform(0.03, 0.12)),
        float(rng.uniform(1.0, 3.0)),
    )


def bath_c(bath: str, pressure_pa: float, rng: np.random.Generator, seconds: float) -> tuple[Array, Array, float]:
    """Return sampling times, the temperature around a tip put into a bath at 10 s, and that of the bath."""
    t_s = np.arange(0.0, seconds, 1.0 / PROBE_HZ)
    if bath == "ice":
        true_c, swirl_c = float(rng.uniform(-0.1, 0.1)), 0.03
    else:
        # Two to nine centimetres of water above the tip raise its boiling point.
        deep_pa = 998.0 * 9.81 * float(rng.uniform(0.02, 0.09)) * 0.96
        true_c, swirl_c = boiling_point_c(pressure_pa + deep_pa), 0.12
    around = true_c + swirl_c * wandering(len(t_s), 1.0 / PROBE_HZ, 1.2, rng)
    return t_s, np.where(t_s < 10.0, 20.0, around), true_c


@dataclass(frozen=True)
class WarmUp:
    """A run of the empty bench.

    Attributes:
        t_s: (n,) times of the load cell's readings.
        zero_g: (n,) what it shows.
        cell_t_s: (m,) times of its thermometer's.
        cell_c: (m,) what that shows.
    """

    t_s: Array
    zero_g: Array
    cell_t_s: Array
    cell_c: Array


def warm_up(cell: Cell, rng: np.random.Generator, *, rise_k: float, minutes: float = 60.0) -> WarmUp:
    """Warm an empty bench, have it cool again, and read it.

    The thermometer sits on the cell's outside, so that what strains the cell follows it by a minute.
    """
    t_s = sample_times_s(60.0 * minutes, MASS_HZ, 1, (), "mass", rng)
    cell_t_s = sample_times_s(60.0 * minutes, CELL_TEMPERATURE_HZ, 1, (), "cell_temperature", rng)
    fine_s = np.arange(0.0, 60.0 * minutes + 1.0)
    half_s = 30.0 * minutes * float(rng.uniform(0.9, 1.1))
    driven = np.where(fine_s < half_s, rise_k * 1.3, 0.0)
    outside_k = lagged_c(np.concatenate(([0.0], driven)), np.full(len(driven) + 1, half_s / 1.6), 1.0)[1:]
    inside_k = lagged_c(outside_k, np.full(len(outside_k), float(rng.uniform(20.0, 90.0))), 1.0)
    warming_k = np.interp(t_s, fine_s, inside_k)
    zero_g = (cell.counts(t_s, np.zeros(len(t_s)), rng, warming_k) - cell.zero_counts) / cell.counts_per_g
    shown_c = 18.0 + np.interp(cell_t_s, fine_s, outside_k) + rng.normal(0.0, 0.05, len(cell_t_s))
    return WarmUp(t_s, zero_g, cell_t_s, np.round(shown_c / 0.0625) * 0.0625)
