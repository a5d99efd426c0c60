"""A result against a numeric factor: a straight line, and the band within which it lies."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import LEVEL, interval

LEAST_BURNS = 3
_NUMBER = re.compile(r"([-+]?\d+(?:[.,]\d+)?)\s*([^\d\s.,+-]*)")


@dataclass(frozen=True, slots=True)
class Trend:
    """A line by least squares, the values' scatter about it the same everywhere.

    Attributes:
        n: Number of burns.
        slope: Change of the result for one more of the factor.
        slope_interval_95: Interval of the slope.
        p: Probability of as steep a line where there is no trend.
        at_centre: The line at `centre`.
        centre: Mean of the factor.
        spread: Sum of the factor's squared deviations from its mean.
        sd: Standard deviation of single burns about the line.
    """

    n: int
    slope: float
    slope_interval_95: tuple[float, float]
    p: float
    at_centre: float
    centre: float
    spread: float
    sd: float

    @property
    def shown(self) -> bool:
        """Whether a trend is shown at `LEVEL`."""
        return self.p < 1.0 - LEVEL

    def line(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the line at values of the factor."""
        return self.at_centre + self.slope * (x - self.centre)

    def half_band(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return half the width of the line's pointwise band (Draper & Smith, Applied Regression Analysis, 3.1)."""
        u = self.sd * np.sqrt(1.0 / self.n + (x - self.centre) ** 2 / self.spread)
        return u * float(stats.t.ppf(0.5 + 0.5 * LEVEL, self.n - 2))


def trend(x: Sequence[float], y: Sequence[float]) -> Trend:
    """Return the line through results `y` at values `x` of a factor.

    Raises:
        ComparisonError: Fewer than three burns, all at one value, or all exactly on the line.
    """
    n = len(x)
    if n < LEAST_BURNS:
        raise ComparisonError(f"a trend takes {LEAST_BURNS} burns at the least, and here are {n}")
    factor, result = np.asarray(x, float), np.asarray(y, float)
    centre, mean = float(factor.mean()), float(result.mean())
    spread = float(((factor - centre) ** 2).sum())
    if spread <= 0.0:
        raise ComparisonError("all burns have the same value of this factor: a trend takes several")
    slope = float(((factor - centre) * (result - mean)).sum()) / spread
    left = result - mean - slope * (factor - centre)
    sd = math.sqrt(float((left**2).sum()) / (n - 2))
    u_slope = sd / math.sqrt(spread)
    if u_slope <= 0.0:
        raise ComparisonError("all burns lie exactly on a line: their scatter cannot be told")
    p = 2.0 * float(stats.t.sf(abs(slope) / u_slope, n - 2))
    return Trend(n, slope, interval(slope, u_slope, n - 2), p, mean, centre, spread, sd)


def numeric(levels: Sequence[str]) -> tuple[list[float], str] | None:
    """Return a factor's levels as numbers, and their unit; None where they are words, or their units differ."""
    matches = [_NUMBER.fullmatch(level.strip()) for level in levels]
    units = {match[2] for match in matches if match is not None}
    if None in matches or len(units) != 1:
        return None
    return [float(match[1].replace(",", ".")) for match in matches if match is not None], units.pop()
