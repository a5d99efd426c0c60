"""The straight line between two clocks: a weighted fit that knows how good crystals are."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

PRIOR_DRIFT_PPM = 200.0
"""Standard uncertainty of a device's clock rate before anything is measured (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """One comparison of the clocks: at `ticks` the host's clock showed `host_ns`, give or take `half_ns`.

    Attributes:
        ticks: Device's counter, unwrapped to 64 bits.
        host_ns: Host time in nanoseconds.
        half_ns: Half the width of the interval that surely holds the host time.

    """

    ticks: int
    host_ns: int
    half_ns: int

    @property
    def u_ns(self) -> float:
        """Standard uncertainty of an even distribution over the interval (JCGM 100, 4.3.7), floor 0.1 ms."""
        return math.hypot(self.half_ns / math.sqrt(3.0), 1e5)


@dataclass(frozen=True, slots=True)
class ClockLine:
    """Host time as a line over device ticks, with its uncertainty.

    Attributes:
        ticks, host_ns: A point of the line.
        drift: Relative deviation of the host's nanoseconds per tick from 1000.
        u_offset_ns, u_drift, covariance: Standard uncertainties at that point, and the covariance (ns).
        u_floor_ns: What no averaging can lower: the same delay may lean the same way every time.

    """

    ticks: int
    host_ns: int
    drift: float
    u_offset_ns: float
    u_drift: float
    covariance: float
    u_floor_ns: float

    def at(self, ticks: int) -> int:
        """Return the host time of `ticks` in nanoseconds."""
        elapsed = (ticks - self.ticks) * 1000
        return self.host_ns + elapsed + round(elapsed * self.drift)

    def u_at(self, ticks: int) -> float:
        """Return the standard uncertainty of `at(ticks)` in nanoseconds."""
        elapsed = (ticks - self.ticks) * 1000.0
        variance = self.u_offset_ns**2 + 2.0 * elapsed * self.covariance + (elapsed * self.u_drift) ** 2
        return math.sqrt(max(variance, 0.0) + self.u_floor_ns**2)

    @property
    def ns_per_tick(self) -> float:
        """Slope of the line."""
        return 1000.0 * (1.0 + self.drift)


def fit_line(comparisons: Sequence[Comparison]) -> ClockLine:
    """Fit a line to at least one comparison: weighted least squares with the drift's prior as one more equation.

    The stated uncertainty does not fall below that of the best single comparison, since a delay that is longer one
    way than the other shifts all of them alike.
    """
    last = comparisons[-1]
    x_ns = np.array([(c.ticks - last.ticks) * 1000 for c in comparisons], dtype=np.float64)
    y_ns = np.array([c.host_ns - last.host_ns for c in comparisons], dtype=np.float64) - x_ns
    weight = np.array([c.u_ns for c in comparisons]) ** -2.0
    prior = (PRIOR_DRIFT_PPM * 1e-6) ** -2.0
    centre = float(weight @ x_ns / weight.sum())
    mean = float(weight @ y_ns / weight.sum())
    information = float(weight @ (x_ns - centre) ** 2) + prior
    drift = float(weight @ ((x_ns - centre) * (y_ns - mean))) / information
    return ClockLine(
        ticks=last.ticks,
        host_ns=last.host_ns + round(mean - drift * centre),
        drift=drift,
        u_offset_ns=float(np.sqrt(1.0 / weight.sum() + centre**2 / information)),
        u_drift=information**-0.5,
        covariance=-centre / information,
        u_floor_ns=min(c.u_ns for c in comparisons),
    )
