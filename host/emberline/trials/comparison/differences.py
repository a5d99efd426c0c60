"""Differences between groups of burns: Welch's interval, and Holm's account of several at once."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from scipy import stats

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import LEVEL, Measured, Sample, interval, sample_of
from emberline.trials.comparison.shared import u_of_difference


@dataclass(frozen=True, slots=True)
class Difference:
    """The difference of two groups' means, `b` less `a`.

    Attributes:
        a: Name of the first group.
        b: Name of the second.
        sample_a: Its mean and scatter.
        sample_b: Its mean and scatter.
        value: Mean of `b` less mean of `a`.
        u: Standard uncertainty, scatter and shared inputs together.
        u_shared: What shared inputs leave of it.
        df: Degrees of freedom.
        interval_95: Interval of the difference by itself.
        p: Probability of as large a difference where there is none.
        p_holm: The same when all differences that are looked at are counted.
    """

    a: str
    b: str
    sample_a: Sample
    sample_b: Sample
    value: float
    u: float
    u_shared: float
    df: float
    interval_95: tuple[float, float]
    p: float
    p_holm: float

    @property
    def shown(self) -> bool:
        """Whether a difference is shown at `LEVEL`, all that are looked at counted."""
        return self.p_holm < 1.0 - LEVEL

    @property
    def relative(self) -> float | None:
        """The difference over the mean of `a`; None where that is zero."""
        return None if self.sample_a.mean == 0.0 else self.value / abs(self.sample_a.mean)


def difference(a: Sequence[Measured], b: Sequence[Measured], names: tuple[str, str] = ("A", "B")) -> Difference:
    """Return the difference of two groups of burns.

    The scatter of each is taken by itself (Welch, Biometrika 34 (1947) 28-35); its degrees of freedom are those of
    Satterthwaite (JCGM 100:2008, G.4.1), to which inputs shared by trials add a part of known uncertainty.

    Raises:
        ComparisonError: A group has fewer than two burns, or no value of either differs from another.
    """
    few = [name for name, group in zip(names, (a, b), strict=True) if len(group) < 2]
    if few:
        raise ComparisonError(
            f"{' and '.join(few)}: a single burn does not tell how burns scatter; two of each are the least"
        )
    one, other = sample_of([m.value for m in a]), sample_of([m.value for m in b])
    parts = [(sample.u_mean or 0.0) ** 2 for sample in (one, other)]
    u_shared = u_of_difference(a, b)
    variance = parts[0] + parts[1] + u_shared**2
    if parts[0] + parts[1] <= 0.0:
        raise ComparisonError("all burns of both gave the very same figure: their scatter cannot be told")
    df = variance**2 / (parts[0] ** 2 / (one.n - 1) + parts[1] ** 2 / (other.n - 1))
    u = math.sqrt(variance)
    value = other.mean - one.mean
    p = 2.0 * float(stats.t.sf(abs(value) / u, df))
    return Difference(names[0], names[1], one, other, value, u, u_shared, df, interval(value, u, df), p, p)


def all_differences(groups: Mapping[str, Sequence[Measured]]) -> list[Difference]:
    """Return the differences of all pairs of groups of two burns or more, the later group less the earlier one."""
    names = [name for name, group in groups.items() if len(group) > 1]
    found = []
    for a, b in combinations(names, 2):
        try:
            found.append(difference(groups[a], groups[b], (a, b)))
        except ComparisonError:
            continue
    adjusted = holm([one.p for one in found])
    return [replace(one, p_holm=p) for one, p in zip(found, adjusted, strict=True)]


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p values adjusted for their number (Holm, Scandinavian Journal of Statistics 6 (1979) 65-70)."""
    order = sorted(range(len(p_values)), key=p_values.__getitem__)
    adjusted, highest = [0.0] * len(p_values), 0.0
    for rank, index in enumerate(order):
        highest = max(highest, min(1.0, (len(p_values) - rank) * p_values[index]))
        adjusted[index] = highest
    return adjusted
