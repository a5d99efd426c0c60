"""Water that warms and boils at a known moment, seen through probes whose lag is integrated step by step."""

import numpy as np
from numpy.typing import NDArray
from uncertainties import ufloat

from column_fixture import seconds
from emberline.curves.plateau import WaterProbe

Array = NDArray[np.float64]

BOILING_C = ufloat(99.3, 0.4, tag="pressure")
GOOD = WaterProbe(0.5, 1.5, 0.4)
CLASS_2 = WaterProbe(1.85, 1.5, 0.4)
FINE_S = 0.02


def lagged(water_c: Array, lag_s: float, fine_s: float = FINE_S) -> Array:
    """Integrate dT/dt = (water - T) / lag in small steps: what a probe makes of the water."""
    if lag_s == 0.0:
        return water_c
    reading = np.empty(len(water_c))
    now = float(water_c[0])
    share = 1.0 - np.exp(-fine_s / lag_s)
    for i, true in enumerate(water_c.tolist()):
        now += share * (true - now)
        reading[i] = now
    return reading


def seen(
    water_c: Array,
    lag_s: float = 1.5,
    *,
    noise_k: float = 0.05,
    bias_k: float = 0.0,
    code_k: float = 0.25,
    seed: int = 1,
) -> Array:
    """Take finely spaced water temperatures through a probe, its noise and its converter to seconds' medians."""
    rng = np.random.default_rng(seed)
    samples = lagged(water_c, lag_s)[:: round(0.1 / FINE_S)] + bias_k
    samples = samples + rng.normal(0.0, noise_k, len(samples))
    if code_k:
        samples = np.round(samples / code_k) * code_k
    return np.asarray(np.median(samples[: len(samples) // 10 * 10].reshape(-1, 10), axis=1))


def fine(n: int) -> Array:
    return np.arange(0.0, n, FINE_S)


def ramp(
    n: int = 600, *, boil_s: float = 400.0, slope_k_min: float = 11.0, top_c: float = 99.3, from_c: float = 18.0
) -> Array:
    """Water that warms evenly, ever a little slower, and boils."""
    before = np.maximum(boil_s - fine(n), 0.0)
    bend = 0.25 * slope_k_min / 60.0 / boil_s
    return np.asarray(np.maximum(top_c - slope_k_min / 60.0 * before - bend * before**2, from_c))


def stall(n: int = 1800, *, ceiling_c: float = 88.0, tau_s: float = 300.0, from_c: float = 18.0) -> Array:
    """A pot whose losses eat its input: it nears its ceiling exponentially."""
    return np.asarray(ceiling_c - (ceiling_c - from_c) * np.exp(-fine(n) / tau_s))


def steam(n: int, boil_s: float, fuel_g_s: float = 0.15, steam_g_s: float = 0.25) -> Array:
    """The loss of all that stands on the cell, when steam leaves from the boil on."""
    return np.where(seconds(n) < boil_s, fuel_g_s, fuel_g_s + steam_g_s)
