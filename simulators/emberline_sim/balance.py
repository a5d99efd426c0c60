"""The load cell and its bridge converter: from a true load to readings with all their errors."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from emberline_sim.air import wandering
from emberline_sim.specs import BalanceSpec

CREEP_S = 600.0
CODE_LIMIT = 2**23 - 1


def read_balance(
    t_s: NDArray[np.float64],
    load_g: NDArray[np.float64],
    pot_g: NDArray[np.float64],
    cell_warming_k: NDArray[np.float64],
    stove_g: float,
    spec: BalanceSpec,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Return (n,) readings in g, NaN where the converter is saturated.

    Args:
        t_s: (n,) sample times.
        load_g: (n,) all that presses on the cell, pot included.
        pot_g: (n,) the part of it that stands off-centre.
        cell_warming_k: (n,) warming of the cell since the start.
        stove_g: Part of the load that was on when the zero was set, if `spec.tared_with_stove`.
        spec: The cell and converter.
        rng: Source of chance.

    """
    n = len(t_s)
    if n == 0:
        return np.zeros(0)
    step_s = float(np.median(np.diff(t_s))) if n > 1 else 1.0
    pressed = load_g + spec.off_centre * pot_g
    # The converter's digital filter spreads a sudden change over three conversions.
    settled = np.convolve(np.concatenate(([pressed[0]], pressed, [pressed[-1]])), [0.25, 0.5, 0.25], mode="valid")
    keep = float(np.exp(-step_s / CREEP_S))
    crept, _ = lfilter([1.0 - keep], [1.0, -keep], pressed, zi=[keep * pressed[0]])
    true_g = (
        settled * (1.0 + spec.span) + spec.creep * (np.asarray(crept) - pressed[0]) + spec.drift_g_k * cell_warming_k
    )
    noise = rng.normal(0.0, spec.noise_g, n) + spec.flicker_g * (
        0.8 * wandering(n, step_s, 20.0, rng) + 0.6 * wandering(n, step_s, 300.0, rng)
    )
    reading = true_g + noise + spec.zero_g - (stove_g * (1.0 + spec.span) if spec.tared_with_stove else 0.0)
    reading = np.round(reading * spec.counts_per_g) / spec.counts_per_g
    reading[true_g > spec.capacity_g] = np.nan
    reading = _with_spikes(t_s, reading, spec, rng)
    for from_s, to_s in spec.stuck:
        low, high = np.searchsorted(t_s, (from_s, to_s))
        reading[low:high] = reading[max(0, low - 1)]
    return reading


def _with_spikes(
    t_s: NDArray[np.float64], reading: NDArray[np.float64], spec: BalanceSpec, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Replace rare conversions by absurd ones: of grams, of thousands of grams, or a saturated code."""
    hours = (t_s[-1] - t_s[0]) / 3600.0
    spoilt = reading.copy()
    limit_g = CODE_LIMIT / spec.counts_per_g
    for index in rng.integers(0, len(t_s), int(rng.poisson(spec.spikes_per_h * hours))):
        kind = rng.random()
        if kind < 0.1:
            spoilt[index] = np.nan
        elif kind < 0.4:
            spoilt[index] = float(rng.uniform(-limit_g, limit_g))
        else:
            spoilt[index] += float(rng.choice((-1.0, 1.0)) * np.exp(rng.uniform(np.log(3.0), np.log(800.0))))
    return spoilt
