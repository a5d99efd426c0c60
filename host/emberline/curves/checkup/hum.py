"""Mains hum in readings that are taken too seldom to show it as it is.

Sampled below twice its frequency, 50 or 60 Hz shows at another one, its alias (H. Nyquist, "Certain topics in telegraph
transmission theory", Trans. AIEE 47 (1928) 617; C. E. Shannon, Proc. IRE 37 (1949) 10). The true times of the readings
are known, so the true frequency can be looked for all the same (N. R. Lomb, Astrophys. Space Sci. 39 (1976) 447).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lombscargle

Array = NDArray[np.float64]

LINES_HZ = (50.0, 60.0, 100.0, 120.0)
"""The mains of the world, and twice that, at which rectifiers and transformers hum."""
OTHER = 1.2
"""A later line must be so many times stronger: two may show at one alias."""
OFF_HZ = 0.4
"""How far the line may lie from where it should: the grid keeps 0.2 Hz, a board's resonator half a per cent."""
FEWEST = 64
FALSE_ALARM = 1e-4
"""Chance of a line in noise alone."""
LEAST_SHARE = 0.5
"""Smallest hum that is worth a word, over the rest of the noise (both root mean square)."""
SLOWEST_TURNS = 3.0
"""Turns of the alias within the readings, below which it looks like a drift."""


@dataclass(frozen=True, slots=True)
class Hum:
    """A line at a frequency of the mains.

    Attributes:
        mains_hz: 50 or 60, or twice that.
        seen_hz: Where it shows in the readings.
        rms: Its root mean square, in the unit of the readings.
    """

    mains_hz: float
    seen_hz: float
    rms: float


def hum_of(t_s: Array, values: Array) -> Hum | None:
    """Return the mains hum in some readings, None where there is none or it cannot be told from slow changes.

    Args:
        t_s: (n,) true times, increasing.
        values: (n,) readings, finite.
    """
    if len(t_s) < FEWEST or np.ptp(values) == 0.0:
        return None
    t = t_s - t_s[0]
    span_s = float(t[-1])
    rate_hz = (len(t) - 1) / span_s
    rest = values - np.polyval(np.polyfit(t / span_s, values, 2), t / span_s)
    step_hz = 0.25 / span_s
    ground = float(np.median(_power(t, rest, np.arange(2.0 / span_s, rate_hz / 2.0, 4.0 * step_hz)))) / math.log(2.0)
    best: tuple[float, float] | None = None
    tried = 0.0
    for line_hz in LINES_HZ:
        grid = np.arange(line_hz - OFF_HZ, line_hz + OFF_HZ, step_hz)
        grid = grid[_alias(grid, rate_hz) >= SLOWEST_TURNS / span_s]
        tried += len(grid) * step_hz * span_s
        if len(grid):
            power = _power(t, rest, grid)
            at = int(np.argmax(power))
            if best is None or power[at] > OTHER * best[0]:
                best = float(power[at]), float(grid[at])
    if best is None or ground <= 0.0 or best[0] / ground < math.log(tried / FALSE_ALARM):
        return None
    # The power of a line of amplitude A in n readings is n A^2 / 4.
    square = 2.0 * best[0] / len(t)
    others = float(np.var(rest)) - square
    if square < LEAST_SHARE**2 * max(others, 0.0):
        return None
    mains_hz = min(LINES_HZ, key=lambda f: abs(f - best[1]))
    return Hum(mains_hz, float(_alias(np.array([best[1]]), rate_hz)[0]), math.sqrt(square))


def _power(t: Array, rest: Array, frequency_hz: Array) -> Array:
    return np.asarray(lombscargle(t, rest, 2.0 * np.pi * frequency_hz))


def _alias(frequency_hz: Array, rate_hz: float) -> Array:
    """Return where a frequency shows when it is sampled at a rate."""
    return np.abs(frequency_hz - np.rint(frequency_hz / rate_hz) * rate_hz)
