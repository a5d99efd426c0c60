"""One result of several trials: what is compared, and its mean and scatter."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scipy import stats

from emberline.trials.comparison.errors import ComparisonError

LEVEL = 0.95
"""Of every interval."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One result of one trial.

    Attributes:
        trial: The trial's id.
        value: The result, in its unit.
        u: Its standard uncertainty.
        budget: Signed contributions of its named inputs to `u`.
        bench: Id of the bench; what its sensors have wrong is the same in all its trials.
        lot: Name of the fuel lot, or None where none was named.
    """

    trial: str
    value: float
    u: float = 0.0
    budget: Mapping[str, float] = field(default_factory=dict)
    bench: str = ""
    lot: str | None = None


@dataclass(frozen=True, slots=True)
class Sample:
    """Mean and scatter of one result over several burns.

    Attributes:
        n: Number of burns.
        mean: Arithmetic mean.
        sd: Sample standard deviation, with n - 1 (ISO 3534-1:2006, 2.8); None of a single burn.
        interval_95: Student's t interval of the mean by scatter alone; None of a single burn.
    """

    n: int
    mean: float
    sd: float | None
    interval_95: tuple[float, float] | None

    @property
    def cv(self) -> float | None:
        """Coefficient of variation (ISO 3534-1:2006, 2.38); None of a single burn, and where the mean is zero."""
        return None if self.sd is None or self.mean == 0.0 else self.sd / abs(self.mean)

    @property
    def u_mean(self) -> float | None:
        """Standard uncertainty of the mean by scatter (JCGM 100:2008, 4.2.3); None of a single burn."""
        return None if self.sd is None else self.sd / math.sqrt(self.n)


def sample_of(values: Sequence[float]) -> Sample:
    """Return mean and scatter.

    Raises:
        ComparisonError: There is no value.
    """
    n = len(values)
    if n == 0:
        raise ComparisonError("no burn has this result")
    mean = math.fsum(values) / n
    if n == 1:
        return Sample(1, mean, None, None)
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (n - 1))
    return Sample(n, mean, sd, interval(mean, sd / math.sqrt(n), n - 1))


def interval(value: float, u: float, df: float) -> tuple[float, float]:
    """Return the interval of `LEVEL` of a value with a standard uncertainty of so many degrees of freedom."""
    half = u * float(stats.t.ppf(0.5 + 0.5 * LEVEL, df))
    return value - half, value + half
