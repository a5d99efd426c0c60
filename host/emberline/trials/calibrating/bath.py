"""A probe held in a bath of known temperature: its reading is taken once it has settled."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.bench.errors import CalibrationError

Array = NDArray[np.float64]

HOLD_S = 30.0
"""Seconds of readings that are looked at; the mean of the newer half is taken."""
SETTLED_C = 0.15
"""How far the two halves of them may lie apart; a step of the converter where that is more."""
TOGETHER_S = 3.0
"""Time within which readings in water that moves go together (common practice, no source)."""
OFF_LIMIT_S = 90.0
"""Seconds of the readings after which a probe at rest at another temperature is believed not to be in that bath."""
BATH_LIMIT_S = 600.0
"""Longest wait, seconds of the readings: a pot comes to the boil meanwhile."""


@dataclass
class BathWatch:
    """The readings of a probe in a bath as they come.

    Attributes:
        step_c: Step of the readings.
        now_c: What it shows now; None for a fault, and before readings came.
        moves_c: How far it moved within the last half minute.
        mean_c: What it showed once it had settled; None before.
        u_mean_c: Standard uncertainty of that by scatter and step.
    """

    step_c: float
    now_c: float | None = None
    moves_c: float = 0.0
    mean_c: float | None = None
    u_mean_c: float = 0.0
    _since_ns: int | None = None

    def look(self, t_ns: NDArray[np.int64], value_c: Array, expected_c: float, within_c: float) -> bool:
        """Take in the newest readings; return whether the probe has settled.

        Args:
            t_ns: (n,) times, UTC nanoseconds, not decreasing.
            value_c: (n,) temperatures, NaN for faults.
            expected_c: Temperature of the bath.
            within_c: How far off a probe in it may be: while it is further off, it is waited for some time.

        Raises:
            CalibrationError: It never settled, or reports a fault; says what to do.
        """
        if not len(t_ns):
            return False
        newest_ns = int(t_ns[-1])
        self._since_ns = newest_ns if self._since_ns is None else self._since_ns
        own = t_ns > newest_ns - int(HOLD_S * 1e9)
        t_s, value = (t_ns[own] - newest_ns) * 1e-9, value_c[own]
        good = np.isfinite(value)
        waited_s = (newest_ns - self._since_ns) * 1e-9
        late = waited_s > BATH_LIMIT_S
        if good.mean() < 0.5:
            self.now_c = None
            if late:
                raise CalibrationError("the probe reports a fault: is its plug in, and its wire whole?")
            return False
        early, newer = value[good & (t_s < -HOLD_S / 2.0)], value[good & (t_s >= -HOLD_S / 2.0)]
        self.now_c = float(np.mean(newer[-5:])) if len(newer) else None
        whole = len(early) > 0 and t_s[0] < -0.9 * HOLD_S
        self.moves_c = abs(float(newer.mean() - early.mean())) if whole and len(newer) else np.inf
        if whole and self.moves_c < max(SETTLED_C, self.step_c):
            mean_c = float(newer.mean())
            if abs(mean_c - expected_c) <= within_c or waited_s > OFF_LIMIT_S:
                u_scatter_c = float(newer.std()) * (2.0 * TOGETHER_S / HOLD_S) ** 0.5
                self.mean_c, self.u_mean_c = mean_c, float(np.hypot(u_scatter_c, self.step_c / 12.0**0.5))
                return True
        if late:
            raise CalibrationError(
                f"the probe never settled: it moved by {self.moves_c:.2g} K in half a minute; keep its tip in the "
                "middle of the water, away from wall and ice, and begin anew"
            )
        return False
