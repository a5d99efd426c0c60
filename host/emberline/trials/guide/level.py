"""What stands on the scale: a steady level with its standard uncertainty, from the newest readings of a load cell."""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.samples import Curve
from emberline.curves.grid import MAD_TO_SD, Column, grid_of

Array = NDArray[np.float64]

LOOKED_AT_S = 180
"""Seconds of readings that are looked at: the level needs a few, the drift of an untouched cell some minutes."""
LEAST_S, MOST_S = 4, 20
"""Seconds that a level is read for, at least and at most; slow noise does not average out in longer ones."""
RESTLESS_S = 10
"""Seconds that a level needs where it is restless, and over which its unrest is told."""
AT_REST_G, AT_REST_SPREADS = 0.4, 5.0
"""How far seconds may lie apart and be one level: so many grams and so many times the spread within a second."""
OUTLIER = 5.0
UNREST_S = 40
"""Newest seconds from whose steps the unrest is told."""
RESTLESS_G = 1.0
"""Standard uncertainty from which on a level is restless: a hand, a lead or the wind moves it."""
GUST = 0.65
"""Correlation of gusts between neighbouring seconds: those on a small bench last two to three seconds (common practice,
no source)."""
LEAST_G = 0.03
"""Standard uncertainty that no level goes below: what a bridge converter wanders within a minute (common practice)."""
LEAST_DRIFT_S = 20


@dataclass(frozen=True, slots=True)
class Level:
    """What stands on the scale.

    Attributes:
        mean_g: Mean of the steady seconds; of the newest second where nothing is steady yet.
        u_g: Its standard uncertainty by the scatter of the readings alone.
        at_ns: UTC nanoseconds of the newest reading.
        seconds: How many steady seconds were read.
        steady: Whether it can be taken.
        within_1s_g: Standard deviation of the readings within a second.
        within_10s_g: Standard deviation of the seconds within ten: wind, a hand, a lead.
        drift_g_min: How fast it moves, where it was left alone long enough to tell.
        u_drift_g_min: Its standard uncertainty.
    """

    mean_g: float
    u_g: float
    at_ns: int
    seconds: int
    steady: bool
    within_1s_g: float = 0.0
    within_10s_g: float = 0.0
    drift_g_min: float | None = None
    u_drift_g_min: float | None = None


def level_of(t_ns: NDArray[np.int64], mass_g: Array) -> Level | None:
    """Read the level that the newest samples show; None without any.

    Seconds are counted back from the newest sample. They are one level as long as each lies among those after it.

    Args:
        t_ns: (n,) times, UTC nanoseconds, not decreasing.
        mass_g: (n,) calibrated readings, NaN for faults.
    """
    known = np.isfinite(mass_g)
    t_ns, mass_g = t_ns[known], mass_g[known]
    if not len(t_ns):
        return None
    column = _seconds(t_ns, mass_g)
    values, spreads, counts = column.value, column.spread, column.count
    within = float(np.median(spreads[np.isfinite(spreads)])) if np.isfinite(spreads).any() else 0.0
    unrest = _unrest(values)
    alone = _left_alone(values, within, unrest)
    newest_ns = int(t_ns[-1])
    if alone < LEAST_S:
        return Level(float(values[0]), max(within, LEAST_G), newest_ns, alone, False, within, _sd(values[:RESTLESS_S]))
    part = values[: min(alone, MOST_S)]
    u_g = _u_mean(part, within, float(np.median(counts[: len(part)])), unrest)
    drift, u_drift = _drift(values[:alone], within)
    steady = u_g < RESTLESS_G or alone >= RESTLESS_S
    return Level(
        float(part.mean()), u_g, newest_ns, alone, steady, within, _sd(values[: min(alone, RESTLESS_S)]), drift, u_drift
    )


def _seconds(t_ns: NDArray[np.int64], mass_g: Array) -> Column:
    """Return value, spread and count of each second, the newest first, up to the first without readings."""
    back_s = (t_ns[-1] - t_ns) / 1e9
    looked_at = min(LOOKED_AT_S, int(back_s[0]) + 1)
    column = grid_of({Role.MASS: Curve(back_s, mass_g)}, looked_at).columns[Role.MASS]
    empty = np.flatnonzero(column.count == 0)
    return column if not len(empty) else column.between(0, int(empty[0]))


def _unrest(values: Array) -> float:
    """Return the standard deviation of seconds from their neighbours, whatever was put on meanwhile: the middle counts.

    Gusts of which neighbours have the correlation `GUST` scatter by 1 / sqrt(1 - GUST) more.
    """
    steps = np.abs(np.diff(values[:UNREST_S]))
    return MAD_TO_SD * float(np.median(steps)) / sqrt(2.0) if len(steps) >= LEAST_S else 0.0


def _left_alone(values: Array, within_g: float, unrest_g: float) -> int:
    """Return for how many of the newest seconds nothing was put on or taken off."""
    bound = AT_REST_G + AT_REST_SPREADS * max(within_g, unrest_g)
    if len(values) < LEAST_S or np.ptp(values[:LEAST_S]) > bound:
        return 0
    # Each further second against mean and scatter of the twenty before it (in time: after it), by running sums.
    k = np.arange(LEAST_S, len(values))
    low = np.maximum(0, k - MOST_S)
    about = values - values[0]
    sums, squares = (np.concatenate(([0.0], np.cumsum(about**power))) for power in (1, 2))
    mean = (sums[k] - sums[low]) / (k - low)
    variance = np.maximum(squares[k] - squares[low] - (k - low) * mean**2, 0.0) / (k - low - 1)
    off = np.abs(about[k] - mean) > np.maximum(OUTLIER * np.sqrt(variance), max(bound / 2.0, OUTLIER * unrest_g))
    return int(k[np.argmax(off)]) if off.any() else len(values)


def _u_mean(part: Array, within_g: float, count: float, unrest_g: float) -> float:
    """Return the standard uncertainty of a mean of seconds.

    What a second's own readings explain averages out; the rest lasts from one second to the next, so that `n` seconds
    tell as little as `n / g` independent ones, and scatter less among themselves than gusts do altogether (Priestley,
    Spectral Analysis and Time Series, 1981, section 5.3.2, from memory). Few tell their scatter badly: (n - 1) /
    (n - 3) as in JCGM 101:2008, 6.4.9.
    """
    n = len(part)
    lags = np.arange(1, n)
    g = 1.0 + 2.0 * float(np.sum((1.0 - lags / n) * GUST**lags))
    scatter2 = _sd(part) ** 2
    white2 = min((1.2533 * within_g) ** 2 / max(count, 1.0), scatter2)
    gusts2 = max((scatter2 - white2) / (1.0 - (g - 1.0) / (n - 1.0)), (unrest_g**2 - white2) / (1.0 - GUST))
    few = (n - 1.0) / (n - 3.0)
    return max(sqrt(few * (white2 + g * gusts2) / n), LEAST_G)


def _drift(values: Array, within_g: float) -> tuple[float | None, float | None]:
    """Return the slope of a level that was left alone, g/min, and its standard uncertainty."""
    n = len(values)
    if n < LEAST_DRIFT_S:
        return None, None
    t_min = -(np.arange(n) - (n - 1) / 2.0) / 60.0
    spread2 = float(t_min @ t_min)
    slope = float(t_min @ (values - values.mean())) / spread2
    rest = values - values.mean() - slope * t_min
    return slope, hypot(sqrt((1.0 + GUST) / (1.0 - GUST)) * _sd(rest), within_g / 3.0) / sqrt(spread2)


def _sd(values: Array) -> float:
    return float(values.std(ddof=1)) if len(values) > 1 else 0.0
