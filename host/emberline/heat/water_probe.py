"""The probe in the water as a witness: temperatures at a moment, with its errors as shared variables.

Its constant error is the same at every reading and cancels in a rise; its span's error and its drift do not. What it
shows lags behind the water: on a ramp by its time constant times the slope.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.channels import Channel
from emberline.curves.robust import runs
from emberline.heat.cell_check import error_about_zero

Array = NDArray[np.float64]

BRIDGED_S = 15
"""Reach of a reading to either side: a gap of twice as much is bridged."""
STIRRED_K = 0.15
"""Standard uncertainty with which one place in heated water tells the mean of it: rising water mixes it well, and what
remains between bottom and surface is a few tenths of a kelvin (common practice, no source)."""
HANDS_S = 4.0
"""Seconds before the end of a stay in which hands may have moved the probe already."""
LINE_S = 25
"""Seconds of the curve by which a temperature at its edge is told."""
POT_LAG_S = 3.0
"""How much later the water warms than the heat comes, for the pot's metal warms first; its standard uncertainty is as
large. A steel pot of 150 J/K with 0.018 m² of bottom at 1 to 3 kW/(m² K) takes 3 to 8 s, a wide one less."""
MOST_POT_LAG_S = 12.0
"""Longest such lag that is believed."""
WAITED = 0.8
"""Chance that a probe which agrees with the ramp followed back had waited in the water: as often as not it waits there,
and air within 2 K of the water is one case in four or five (common practice, no source)."""
_AS_GOOD_K = 0.3
_LEAST_LAG_S = 0.5
# Neighbouring seconds of a smoothed curve share their noise: one value in about five is its own.
_SHARED = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class WaterProbe:
    """What the water's probe says, with its errors as shared variables.

    Attributes:
        water_c: (n,) smoothed reading, NaN where unknown.
        bias_k: Its constant error, a variable about zero.
        span: Its span's relative error, a variable about zero.
        drift_k_h: Its drift, a variable about zero.
        lag_s: Its time constant.
        u_lag_s: The time constant's standard uncertainty.
    """

    water_c: Array
    bias_k: UFloat
    span: UFloat
    drift_k_h: UFloat
    lag_s: float
    u_lag_s: float

    def rising_from(self, t_s: float, u_t_s: float) -> UFloat | None:
        """Return the temperature at the start of a ramp, None without a curve.

        The probe may have hung in the air before: the curve after the moment is a ramp that lags by the time constant,
        and what is left of the reading before dies away with it. A fire that grows bends the ramp: what the first half
        minute and its first half tell differently is not known.

        Args:
            t_s: The moment.
            u_t_s: Its standard uncertainty.
        """
        whole = self._settling(t_s, LINE_S + 2.0 * self.lag_s)
        if whole is None:
            return self.level(t_s + 2.0, t_s + 12.0)
        start_c, slope, u_start = whole
        part = self._settling(t_s, 0.5 * LINE_S + 2.0 * self.lag_s)
        bent = 0.0
        if part is not None:
            bent = part[0] - start_c
            if abs(bent) > 2.0 * float(np.hypot(part[2], u_start)):
                start_c, slope, u_start = part
        before = self.level(t_s - 15.0, t_s - 4.0)
        ahead = (before.nominal_value - start_c) if before is not None else np.nan
        if -_AS_GOOD_K <= ahead <= max(slope, 0.0) * MOST_POT_LAG_S + _AS_GOOD_K:
            # Most likely the probe hung in the water before, and the pot's metal took its time to warm; else it hung in
            # air of the same temperature by chance. Mean and spread of the two (JCGM 100:2008, 4.3.9).
            start_c += WAITED * ahead
            bent, pot_lag_s = 2.0 * (WAITED * (1.0 - WAITED)) ** 0.5 * ahead, 0.0
        else:
            start_c, pot_lag_s = start_c + slope * POT_LAG_S, POT_LAG_S
        u = float(np.hypot(np.hypot(u_start, 0.5 * bent), slope * np.hypot(u_t_s, pot_lag_s)))
        return self._with_errors(start_c, t_s, u) + slope * error_about_zero(self.u_lag_s, "water_probe_lag")

    def rising_to(self, t_s: float) -> tuple[UFloat, float] | None:
        """Return the temperature at the end of a stretch and its slope there in K/s, None without a curve."""
        middle, slope, level, u_slope = self._line(t_s - LINE_S, t_s - HANDS_S)
        if not np.isfinite(level):
            return None
        reach = t_s + self.lag_s - middle
        value = self._with_errors(level + slope * reach, t_s, u_slope * reach)
        return value + slope * error_about_zero(self.u_lag_s, "water_probe_lag"), slope

    def level(self, a_s: float, b_s: float) -> UFloat | None:
        """Return the temperature of a plateau, None without a curve."""
        piece = self._piece(a_s, b_s)[1]
        if len(piece) == 0:
            return None
        return self._with_errors(float(np.median(piece)), 0.5 * (a_s + b_s), 0.0)

    def mean_slope_k_s(self, a_s: float, b_s: float) -> float | None:
        """Return how fast the temperature rose from one moment to another, K/s, None without a curve at both."""
        ends_c = [self._piece(t_s - LINE_S, t_s)[1] for t_s in (a_s + LINE_S, b_s)]
        if b_s - a_s <= 2.0 * LINE_S or any(len(end_c) == 0 for end_c in ends_c):
            return None
        return float(np.median(ends_c[1]) - np.median(ends_c[0])) / (b_s - a_s - LINE_S)

    def mean_c(self, weight: Array) -> UFloat | None:
        """Return the mean temperature by weights (n,) of the seconds, None without a curve or without weight."""
        weight = np.where(np.isfinite(self.water_c), weight, 0.0)
        if not weight.sum() > 0.0:
            return None
        mean_c, mean_s = np.average((np.nan_to_num(self.water_c), np.arange(len(weight)) + 0.5), axis=1, weights=weight)
        return self._with_errors(float(mean_c), float(mean_s), 0.0)

    def unread_s(self, a_s: float, b_s: float) -> tuple[float, float] | None:
        """Return the longest stretch without readings between two moments; None without one, or with nothing else."""
        low, high = max(0, int(a_s)), max(0, int(b_s))
        unread = runs(np.isnan(self.water_c[low:high]))
        if not unread or unread[0] == (0, high - low):
            return None
        begin, end = max(unread, key=lambda run: run[1] - run[0])
        # Readings reach into a gap from both of its ends.
        first, last = max(0, begin - BRIDGED_S), min(high - low, end + BRIDGED_S)
        return float(low + first), float(low + last)

    def _settling(self, t_s: float, for_s: float) -> tuple[float, float, float] | None:
        """Return start, slope and the start's standard uncertainty of a lagging ramp, None with too few seconds."""
        t, value = self._piece(t_s + 2.0, t_s + 2.0 + for_s)
        if len(t) < 8:
            return None
        since = t - t_s
        columns = [np.ones(len(t)), since - self.lag_s]
        if self.lag_s >= _LEAST_LAG_S:
            columns.append(np.exp(-since / self.lag_s))
        matrix = np.stack(columns, axis=1)
        normal = matrix.T @ matrix
        found = np.linalg.solve(normal, matrix.T @ value)
        residual = value - matrix @ found
        u_start = float(np.sqrt(_SHARED * max(float(np.mean(residual**2)), 1e-4) * np.linalg.inv(normal)[0, 0]))
        return float(found[0]), float(found[1]), u_start

    def _piece(self, a_s: float, b_s: float) -> tuple[Array, Array]:
        low, high = max(0, int(a_s)), max(0, int(b_s) + 1)
        value = self.water_c[low:high]
        known = np.flatnonzero(np.isfinite(value))
        return np.asarray(known + (low + 0.5), dtype=np.float64), value[known]

    def _line(self, a_s: float, b_s: float) -> tuple[float, float, float, float]:
        """Return middle, slope, level and the slope's standard uncertainty of a line."""
        t, value = self._piece(a_s, b_s)
        if len(t) < 6:
            return (float(np.mean(t)), 0.0, float(np.median(value)), 0.05) if len(t) else (a_s, 0.0, np.nan, np.nan)
        middle = float(np.mean(t))
        spread = float(np.sum((t - middle) ** 2))
        slope = float(np.sum((t - middle) * value)) / spread
        residual = value - np.mean(value) - slope * (t - middle)
        u_slope = float(np.sqrt(_SHARED * max(float(np.mean(residual**2)), 1e-4) / spread))
        return middle, slope, float(np.mean(value)), u_slope

    def _with_errors(self, value_c: float, t_s: float, u_k: float) -> UFloat:
        u = float(np.hypot(STIRRED_K, u_k))
        return (
            value_c + ufloat(0.0, u, "water_curve") + self.bias_k + self.span * value_c + self.drift_k_h * t_s / 3600.0
        )


def water_probe_of(water_c: Array, channel: Channel) -> WaterProbe:
    """Attach a channel's errors to a smoothed water curve."""
    return WaterProbe(
        water_c,
        error_about_zero(channel.u_bias, "water_probe"),
        error_about_zero(channel.u_scale, "water_probe_span"),
        error_about_zero(channel.u_drift_per_hour, "water_probe_drift"),
        channel.time_constant_s,
        channel.u_time_constant_s,
    )
