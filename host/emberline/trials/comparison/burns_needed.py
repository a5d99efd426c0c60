"""How many burns it takes to show a difference, and which difference a number of burns can show."""

import math

from scipy import optimize, stats

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import LEVEL

POWER = 0.8
"""Share of series in which a true difference of the wished size is to be shown; common practice, no source."""
MOST_BURNS = 1_000
"""Beyond it nobody burns; each group."""


def power(difference: float, sd: float, n: int, u_shared: float = 0.0) -> float:
    """Return the share of series of `n` burns each in which a true difference is shown.

    Student's two-sided test of two groups of equal scatter: the statistic follows the noncentral t distribution
    (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 2, chapter 31), with the degrees of freedom of
    Satterthwaite (JCGM 100:2008, G.4.1) where an error of known uncertainty is added.

    Args:
        difference: True difference.
        sd: Standard deviation of single burns, above zero.
        n: Burns in each group, at least two.
        u_shared: Standard uncertainty of the difference that no number of burns takes away.
    """
    by_scatter = sd * math.sqrt(2.0 / n)
    u = math.hypot(by_scatter, u_shared)
    df = (2 * n - 2) * (u / by_scatter) ** 4
    off = abs(difference) / u
    limit = float(stats.t.ppf(0.5 + 0.5 * LEVEL, df))
    # Far from zero the distribution's tail underflows to nothing, and the difference is shown for certain.
    shown = stats.nct.sf(limit, df, off) + stats.nct.cdf(-limit, df, off)
    return 1.0 if math.isnan(shown) else float(shown)


def burns_needed(difference: float, sd: float, u_shared: float = 0.0) -> int:
    """Return the least number of burns in each group with which a difference is shown in `POWER` of the series.

    Raises:
        ComparisonError: The difference is zero, the scatter is unknown, no number of burns shows it for what the groups
            have wrong in different ways, or more than `MOST_BURNS` would be needed.
    """
    if not (difference and sd > 0.0 and math.isfinite(difference) and math.isfinite(sd)):
        raise ComparisonError("a number of burns needs a difference to be shown, and the scatter of single burns")
    if power(difference, sd, MOST_BURNS, u_shared) < POWER:
        if power(difference, sd, MOST_BURNS) >= POWER:
            raise ComparisonError(
                "no number of burns would do: each group has something wrong in all of its burns alike, such as a"
                " heating value that was looked up; have that measured, or burn one lot in both where it is not the"
                " fuel that differs"
            )
        raise ComparisonError(f"more than {MOST_BURNS} burns of each would be needed: reduce the scatter first")
    low, high = 1, MOST_BURNS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power(difference, sd, middle, u_shared) >= POWER else (middle, high)
    return high


def resolved(sd: float, n: int, u_shared: float = 0.0) -> float:
    """Return the smallest difference that `n` burns each show in `POWER` of the series.

    Args:
        sd: Standard deviation of single burns, above zero.
        n: Burns in each group, at least two.
        u_shared: Standard uncertainty of the difference that no number of burns takes away.
    """
    u = math.hypot(sd * math.sqrt(2.0 / n), u_shared)
    # Two burns each resolve some 6 standard uncertainties; a hundred is beyond every number of burns.
    return u * float(optimize.brentq(lambda d: power(d * u, sd, n, u_shared) - POWER, 1e-6, 100.0, xtol=1e-10))
