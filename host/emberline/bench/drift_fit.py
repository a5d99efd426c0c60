"""A load cell's zero against its temperature, from a run of the empty bench that is warmed and may cool again."""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from emberline.bench.errors import CalibrationError

Array = NDArray[np.float64]

LEAST_RISE_K = 5.0
"""Least change of temperature from which a slope is taken: a burn warms a cell by some ten kelvin."""
LEAST_POINTS = 10
COOLED = 0.4
"""Share of the rise that it must fall again for hysteresis to be told."""
APART_MIN = 4.0
"""Minutes between points that count as independent, at least: a zero wanders for minutes, and a run of an hour tells
badly for how many (common practice, no source)."""
LEAST_WORTH = 6.0
"""Independent points that a run is worth at least: half an hour says no more of how they go together."""
IN_A_BURN = 2.0
"""How much worse a burn, which warms one side of the cell, may be than the run (common practice, no source)."""
LEAST_U_DRIFT = 0.1
"""Drift in grams an hour that is always left, standard uncertainty: a converter's own wander."""


@dataclass(frozen=True, slots=True)
class DriftFit:
    """What a warm-up run found. Uncertainties are standard ones.

    Attributes:
        g_per_k: What the empty cell shows more for each kelvin.
        u_g_per_k: Its uncertainty.
        begin_c: Temperature at the beginning of the run.
        rise_k: How far the temperature went.
        residual_g: Standard deviation of what the slope does not explain.
        hysteresis_g: Mean difference between warming and cooling at one temperature; None where it did not cool again.
        u_drift_per_hour: Of the drift that is left once the slope is taken off, g/h.
    """

    g_per_k: float
    u_g_per_k: float
    begin_c: float
    rise_k: float
    residual_g: float
    hysteresis_g: float | None
    u_drift_per_hour: float


def fit_drift(cell_c: Array, zero_g: Array) -> DriftFit:
    """Fit the zero against the temperature by least squares.

    Neighbouring residuals go together, so that they tell less than as many independent ones; so few tell their scatter
    badly, (n - 1) / (n - 3) of them as in JCGM 101:2008, 6.4.9. Hysteresis adds a rectangular share, and so does that
    the thermometer is not where the metal is strained: a minute between the two.

    Args:
        cell_c: (n,) temperatures of the cell, one a minute.
        zero_g: (n,) what the empty cell showed.

    Raises:
        CalibrationError: The run is too short, or the cell was not warmed enough.
    """
    n = len(cell_c)
    if n < LEAST_POINTS:
        raise CalibrationError(
            f"the run has {n} minutes: half an hour is what it takes, {LEAST_POINTS} minutes at least"
        )
    rise_k = float(np.ptp(cell_c))
    if rise_k < LEAST_RISE_K:
        raise CalibrationError(
            f"the cell's temperature changed by {rise_k:.1f} K only: {LEAST_RISE_K:g} K are needed; warm the empty "
            "bench as a burn does, or the cell gently with a lamp, and let it cool again"
        )
    slope = _slope(cell_c, zero_g)
    x = cell_c - cell_c.mean()
    rest = zero_g - zero_g.mean() - slope * x
    residual_g = float(np.sqrt(rest @ rest / (n - 2)))
    worth = _worth(rest)
    few = (worth - 1.0) / (worth - 3.0)
    u_slope = residual_g / sqrt(float(x @ x)) * sqrt(few * n / worth)
    hysteresis_g = _hysteresis(cell_c, rest)
    apart_g = abs(hysteresis_g or 0.0) / sqrt(3.0)
    return DriftFit(
        slope,
        sqrt(u_slope**2 + (apart_g / rise_k) ** 2 + _u_lag(cell_c, zero_g, slope) ** 2),
        float(cell_c[0]),
        rise_k,
        residual_g,
        hysteresis_g,
        max(IN_A_BURN * sqrt(2.0) * hypot(residual_g, apart_g / 2.0), LEAST_U_DRIFT),
    )


def _worth(rest: Array) -> float:
    """Return as how many independent residuals so many tell that go together.

    `n / g` with `g = 1 + 2 (r1 + r2 + ...)`, the correlations summed as long as they are positive (Priestley, Spectral
    Analysis and Time Series, 1981, section 5.3.2; where to stop: Geyer, Statistical Science 7 (1992) 473; both from
    memory); at most one in `APART_MIN` minutes.
    """
    n = len(rest)
    total = max(float(rest @ rest), 1e-12)
    g = 1.0
    for lag in range(1, n // 2):
        together = float(rest[lag:] @ rest[:-lag]) / total * n / (n - lag)
        if together <= 0.0:
            break
        g += 2.0 * together
    return max(n / max(g, APART_MIN), LEAST_WORTH)


def _slope(cell_c: Array, zero_g: Array) -> float:
    x = cell_c - cell_c.mean()
    return float(x @ (zero_g - zero_g.mean()) / (x @ x))


def _u_lag(cell_c: Array, zero_g: Array, slope: float) -> float:
    """Return what it would change if the metal that is strained were a minute behind the thermometer, or ahead."""
    behind, ahead = _slope(cell_c[:-1], zero_g[1:]), _slope(cell_c[1:], zero_g[:-1])
    return max(abs(behind - slope), abs(ahead - slope))


def _hysteresis(cell_c: Array, rest: Array) -> float | None:
    """Return how much more the residual is while it cools than while it warms; None where it did not cool again."""
    top = int(np.argmax(cell_c))
    if cell_c[top] - cell_c[top:].min() < COOLED * np.ptp(cell_c) or top < 3 or len(cell_c) - top < 3:
        return None
    return float(rest[top:].mean() - rest[:top].mean())
