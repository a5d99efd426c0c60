"""Known loads laid on one after the other: each is taken by itself as soon as the load has changed and come to rest."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import hypot

import numpy as np
from numpy.typing import NDArray

from emberline.bench.calibration import SATURATED_24_BIT, Calibration, Linear
from emberline.bench.errors import CalibrationError
from emberline.bench.mass_fit import KnownLoad
from emberline.trials.guide.level import Level, level_of

Array = NDArray[np.float64]

HOLD_S = 10
"""Seconds for which a load must be at rest before it is taken."""
MOVED = 6.0
"""Standard uncertainties by which a load must differ from the one before it."""
MOVED_SHARE = 0.02
"""Share of the largest load so far by which it must differ, too."""
RESTLESS = 0.002
"""Standard uncertainty beyond which a load is too restless to calibrate with, as a share of the largest mass."""
STEP_LIMIT_S = 120.0
"""Longest wait for one load, seconds of the readings."""
STUCK_S = 3.0
"""Seconds of readings at the converter's end that end a calibration."""


@dataclass
class LoadSteps:
    """Known loads in their order, and what the converter has shown of them so far.

    Attributes:
        masses_g: The loads, the empty cell first and last.
        u_masses_g: Their standard uncertainties; nobody doubts the empty cell.
        level: What stands there now; None before readings came.
    """

    masses_g: Sequence[float]
    u_masses_g: Sequence[float]
    calibration: Calibration
    level: Level | None = None
    _taken: list[Level] = field(default_factory=list)
    _since_ns: int | None = None

    @property
    def counts_per_unit(self) -> float:
        """Counts for one unit of `level`; 1 where no scale is known, so that levels are in counts."""
        return abs(self.calibration.counts_per_unit) if isinstance(self.calibration, Linear) else 1.0

    @property
    def done(self) -> bool:
        """Whether every load was taken."""
        return len(self._taken) == len(self.masses_g)

    @property
    def wanted_g(self) -> float:
        """The load that is waited for."""
        return self.masses_g[len(self._taken)]

    @property
    def taken(self) -> int:
        """How many loads were taken."""
        return len(self._taken)

    @property
    def loads(self) -> list[KnownLoad]:
        """The loads that were taken, in counts."""
        unit = self.counts_per_unit
        taken = zip(self.masses_g, self.u_masses_g, self._taken, strict=False)
        return [KnownLoad(mass, u_mass, one.mean_g * unit, one.u_g * unit) for mass, u_mass, one in taken]

    def look(self, t_ns: NDArray[np.int64], raw: Array) -> bool:
        """Take in the newest readings; return whether a load was taken.

        Args:
            t_ns: (n,) times, UTC nanoseconds, not decreasing; two minutes are enough.
            raw: (n,) counts; NaN where the converter reported a fault.

        Raises:
            CalibrationError: The converter is at its end, or a load never came to rest; says what to do.
        """
        if self.done or not len(t_ns):
            return False
        raw = np.where(np.abs(raw) >= SATURATED_24_BIT, np.nan, raw)
        _expect_in_range(t_ns, raw)
        self.level = level_of(t_ns, raw / self.counts_per_unit)
        newest_ns = int(t_ns[-1])
        self._since_ns = newest_ns if self._since_ns is None else self._since_ns
        if self.level is not None and self._is_next(self.level):
            self._taken.append(self.level)
            self._since_ns = newest_ns
            return True
        if (newest_ns - self._since_ns) * 1e-9 > STEP_LIMIT_S:
            raise CalibrationError(self._why_not())
        return False

    def _is_next(self, level: Level) -> bool:
        at_rest = level.steady and level.seconds >= HOLD_S and level.u_g <= self._most_u()
        return at_rest and self._has_moved(level)

    def _has_moved(self, level: Level) -> bool:
        if not self._taken:
            return True
        before = self._taken[-1]
        span = max(abs(one.mean_g - self._taken[0].mean_g) for one in self._taken)
        least = max(MOVED * hypot(level.u_g, before.u_g), MOVED_SHARE * span)
        return abs(level.mean_g - before.mean_g) > least

    def _most_u(self) -> float:
        """Return the unrest that a load may have; where no scale is known, the largest load so far says it."""
        if isinstance(self.calibration, Linear):
            return RESTLESS * max(self.masses_g)
        first = self._taken[0].mean_g if self._taken else None
        return RESTLESS * max((abs(one.mean_g - first) for one in self._taken[1:]), default=np.inf) if first else np.inf

    def _why_not(self) -> str:
        wait = f"{STEP_LIMIT_S / 60.0:.0f} minutes"
        if self.level is not None and not self._has_moved(self.level):
            return (
                f"the load did not change within {wait}, though {self.wanted_g:g} g were to be laid on: if they were, "
                "the cell does not feel them; see that they stand on it and that its wires are on the converter"
            )
        shakes = "" if self.level is None else f" (it shakes by {max(self.level.u_g, self.level.within_10s_g):.2g})"
        return (
            f"the load never came to rest within {wait}{shakes}: shelter the bench from wind, take hands and leads "
            "off it, let it stand on something firm, and begin anew"
        )


def _expect_in_range(t_ns: NDArray[np.int64], raw: Array) -> None:
    newest = raw[t_ns > t_ns[-1] - int(STUCK_S * 1e9)]
    long_enough = (t_ns[-1] - t_ns[0]) * 1e-9 >= STUCK_S
    if long_enough and np.mean(~np.isfinite(newest)) > 0.5:
        raise CalibrationError(
            "the converter is at the end of its range or reports a fault: take the load off at once if it is more than "
            "the cell can carry; if nothing is on it, a wire of the bridge is off or swapped"
        )
