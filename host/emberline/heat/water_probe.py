"""The probe in the water as a witness: temperatures at a moment, with its errors as shared variables.

Its constant error is the same at every reading and cancels in a rise; its span's error and its drift do not. What it
shows lags behind the water: on a ramp by its time constant times the slope.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.channels import Channel
from emberline.heat.scale import error_about_zero

Array = NDArray[np.float64]

STIRRED_K = 0.15
"""Standard uncertainty with which one place in heated water tells the mean of it: rising water mixes it well, and what
remains between bottom and surface is a few tenths of a kelvin (common practice, no source)."""
LINE_S = 25
"""Seconds of the curve by which a temperature at its edge is told."""
_SETTLED = 4.5
_LEAST_S = 4.0


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

        The probe may have hung in the air before: the ramp after it has settled is followed back to the moment.
        """
        low = t_s + max(_LEAST_S, _SETTLED * self.lag_s)
        return self._by_line(t_s, low, low + LINE_S, u_t_s)

    def rising_to(self, t_s: float) -> tuple[UFloat, float] | None:
        """Return the temperature at the end of a stretch and its slope there in K/s, None without a curve."""
        value = self._by_line(t_s, t_s - LINE_S, t_s - 2.0, 0.0)
        if value is None:
            return None
        return value, self._line(t_s - LINE_S, t_s - 2.0)[1]

    def level(self, a_s: float, b_s: float) -> UFloat | None:
        """Return the temperature of a plateau, None without a curve."""
        piece = self._piece(a_s, b_s)[1]
        if len(piece) == 0:
            return None
        return self._with_errors(float(np.median(piece)), 0.5 * (a_s + b_s), 0.0)

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
        # Neighbouring seconds of a smoothed curve share their noise: one value in about five is its own.
        u_slope = float(np.sqrt(5.0 * max(float(np.mean(residual**2)), 1e-4) / spread))
        return middle, slope, float(np.mean(value)), u_slope

    def _by_line(self, t_s: float, a_s: float, b_s: float, u_t_s: float) -> UFloat | None:
        middle, slope, level, u_slope = self._line(a_s, b_s)
        if not np.isfinite(level):
            return None
        reach = t_s + self.lag_s - middle
        u = float(np.hypot(u_slope * reach, slope * u_t_s))
        value = self._with_errors(level + slope * reach, t_s, u)
        return value + slope * error_about_zero(self.u_lag_s, "water_probe_lag")

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
