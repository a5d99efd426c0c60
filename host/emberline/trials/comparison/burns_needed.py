"""How many burns it takes to show a difference, and which difference a number of burns can show."""

import math

from scipy import optimize, stats

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import LEVEL

POWER = 0.8
"""Share of series in which a true difference of the wished size is to be shown; common practice, no source."""
MOST_BURNS = 1_000
"""Beyond it nobody burns; each group."""


def power(difference: float, sd: float, n: int) -> float:
    """Return the share of series of `n` burns each in which a true difference is shown.

    Student's two-sided test of two groups of equal scatter: the statistic follows the noncentral t distribution
    (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 2, chapter 31).

    Args:
        difference: True difference.
        sd: Standard deviation of single burns, above zero.
        n: Burns in each group, at least two.
    """
    df = 2 * n - 2
    off = abs(difference) / sd * math.sqrt(n / 2.0)
    limit = float(stats.t.ppf(0.5 + 0.5 * LEVEL, df))
    # Far from zero the distribution's tail underflows to nothing, and the difference is shown for certain.
    shown = stats.nct.sf(limit, df, off) + stats.nct.cdf(-limit, df, off)
    return 1.0 if math.isnan(shown) else float(shown)


def burns_needed(difference: float, sd: float) -> int:
    """Return the least number of burns in each group with which a difference is shown in `POWER` of the series.

    Raises:
        ComparisonError: The difference is zero, the scatter is unknown, or more than `MOST_BURNS` would be needed.
    """
    if not (difference and sd > 0.0 and math.isfinite(difference) and math.isfinite(sd)):
        raise ComparisonError("a number of burns needs a difference to be shown, and the scatter of single burns")
    if power(difference, sd, MOST_BURNS) < POWER:
        raise ComparisonError(f"more than {MOST_BURNS} burns of each would be needed: reduce the scatter first")
    low, high = 1, MOST_BURNS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power(difference, sd, middle) >= POWER else (middle, high)
    return high


def resolved(sd: float, n: int) -> float:
    """Return the smallest difference that `n` burns each show in `POWER` of the series.

    Args:
        sd: Standard deviation of single burns, above zero.
        n: Burns in each group, at least two.
    """
    # Two burns each resolve some 6 standard deviations; a hundred is beyond every number of burns.
    return sd * float(optimize.brentq(lambda effect: power(effect, 1.0, n) - POWER, 1e-6, 30.0, xtol=1e-10))
