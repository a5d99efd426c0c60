"""Made-up signals of sensors, sound and broken."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from emberline.curves.checkup.signal import Fault, Nature, Signal

Array = NDArray[np.float64]
G_PER_COUNT = 1.0 / 420.0


def times(rate_hz: float, seconds: float, dice: np.random.Generator) -> Array:
    """Return the times of readings, as a board takes them: nearly even, to the microsecond."""
    count = int(rate_hz * seconds)
    return np.arange(count) / rate_hz + dice.normal(0.0, 20e-6, count)


def cell(
    seed: int = 1,
    rate_hz: float = 10.0,
    seconds: float = 10.0,
    noise: float = 60.0,
    add: Array | None = None,
    scale: float = G_PER_COUNT,
    faults: Mapping[Fault, int] | None = None,
) -> Signal:
    """Return a load cell with an empty stove on it, in counts with white noise of some counts."""
    dice = np.random.default_rng(seed)
    t_s = times(rate_hz, seconds, dice)
    raw = 492_000.0 + dice.normal(0.0, noise, len(t_s)) + (0.0 if add is None else add)
    return Signal("mass", Nature.BRIDGE, t_s, np.rint(raw), scale, 84_000.0, "g", True, faults or {})


def probe(
    value_c: float = 21.0,
    cold_c: float | None = 24.0,
    seed: int = 1,
    rate_hz: float = 4.0,
    seconds: float = 10.0,
    noise_c: float = 0.15,
    step_c: float = 0.25,
    drift_c_s: float = 0.0,
) -> Signal:
    """Return a thermocouple with the codes of its converter."""
    dice = np.random.default_rng(seed)
    t_s = times(rate_hz, seconds, dice)
    value = value_c + drift_c_s * t_s + dice.normal(0.0, noise_c, len(t_s))
    return Signal("water", Nature.THERMOCOUPLE, t_s, np.rint(value / step_c), step_c, 0.0, "c", True, {}, cold_c)
