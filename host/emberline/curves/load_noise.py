"""How a load cell's curve scatters: white noise, gusts of several lengths, and the wander of the burn's pace.

The second difference over a lag, `y(t+h) - 2 y(t) + y(t-h)`, is blind to level and slope. Its variance at several lags
tells the parts of the noise apart, since each grows with the lag in its own way: white noise not at all (6 s²), noise
that lasts `T` seconds until the lag exceeds it (s² (6 - 8 r + 2 r²), with r = exp(-h/T)), a pace that wanders as a
random walk of intensity q with the third power (2/3 q h³). This is the method of structure functions; the three
expressions follow from the covariances of the three processes.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.curves.grid import MAD_TO_SD

Array = NDArray[np.float64]

LASTING_S = (2.0, 8.0, 30.0)
"""Times for which parts of the noise last, in readings' spacings: gusts, eddies around a pot, slow draughts."""
_LAGS = (1, 2, 4, 8, 16, 32, 64)
_ROUNDS = 150
_LEAST = 6


@dataclass(frozen=True, slots=True)
class LoadNoise:
    """The parts of a load curve's scatter.

    Attributes:
        white_g: Standard deviation of the noise that every reading has for itself.
        lasting_g: Standard deviations of the noises that last `lasting_s` seconds.
        lasting_s: Correlation times.
        pace_g2_s3: Intensity of the random walk of the pace.
    """

    white_g: float
    lasting_g: tuple[float, ...]
    lasting_s: tuple[float, ...]
    pace_g2_s3: float

    @property
    def total_g(self) -> float:
        """Standard deviation of all parts that come back to the line."""
        return math.hypot(self.white_g, *self.lasting_g)

    def covariance(self, t_s: Array, count: Array, pace_added_g2_s3: Array) -> Array:
        """Return the covariance of readings about a straight line through the beginning of their stretch, (k, k).

        A pace of intensity q(u) moves readings at a and b together by the integral of (a - u) (b - u) q(u) du up to
        the earlier of them.

        Args:
            t_s: (k,) times of the readings, in seconds from the beginning of the stretch.
            count: (k,) readings of which each is the mean.
            pace_added_g2_s3: (n,) intensity by which the pace wanders in each second beyond `pace_g2_s3`.
        """
        u = np.arange(len(pace_added_g2_s3)) + 0.5
        q = self.pace_g2_s3 + pace_added_g2_s3
        edges = np.arange(len(q) + 1)
        earlier = np.minimum(t_s[:, None], t_s[None, :])
        q0, q1, q2 = (np.interp(t_s, edges, np.concatenate(([0.0], np.cumsum(q * power)))) for power in (1.0, u, u * u))
        first = np.where(t_s[:, None] <= t_s[None, :], np.arange(len(t_s))[:, None], np.arange(len(t_s))[None, :])
        total = t_s[:, None] * t_s[None, :] * q0[first] - (t_s[:, None] + t_s[None, :]) * q1[first] + q2[first]
        apart = t_s[:, None] + t_s[None, :] - 2.0 * earlier
        for sd, lasts in zip(self.lasting_g, self.lasting_s, strict=True):
            if sd > 1e-3 * self.white_g:
                total += sd**2 * np.exp(-apart / lasts)
        k = np.arange(len(t_s))
        total[k, k] += self.white_g**2 / count
        return np.asarray(total)


def noise_around(level: Array, spacing: int, least_g: float) -> LoadNoise:
    """Tell the parts of the noise of a stretch of curve.

    Args:
        level: (n,) the curve without its steps, NaN where disturbed or not read.
        spacing: Usual distance between readings, seconds.
        least_g: Smallest white noise to believe.
    """
    lags = [lag * spacing for lag in _LAGS if 3 * lag * spacing <= len(level)]
    variances, kept = [], []
    for lag in lags:
        difference = level[2 * lag :] - 2.0 * level[lag:-lag] + level[: -2 * lag]
        difference = difference[np.isfinite(difference)]
        if len(difference) >= _LEAST:
            # Single gusts count, but not beyond what makes a reading an outlier.
            size = np.abs(difference)
            bound = 4.0 * max(MAD_TO_SD * float(np.partition(size, len(size) // 2)[len(size) // 2]), least_g)
            variances.append(float(np.mean(np.clip(difference, -bound, bound) ** 2)))
            kept.append(float(lag))
    lasting_s = tuple(spacing * times for times in LASTING_S)
    if len(kept) < 3:
        white = math.sqrt(variances[0] / 6.0) if variances else least_g
        return LoadNoise(max(white, least_g), (0.0,) * len(lasting_s), lasting_s, 0.0)
    h = np.array(kept)
    parts = [np.full(len(h), 6.0)]
    parts += [6.0 - 8.0 * np.exp(-h / lasts) + 2.0 * np.exp(-2.0 * h / lasts) for lasts in lasting_s]
    parts += [2.0 / 3.0 * h**3]
    shares = _not_negative(np.stack(parts, axis=1), np.maximum(np.array(variances), 1e-9))
    return LoadNoise(
        max(math.sqrt(shares[0]), least_g),
        tuple(math.sqrt(share) for share in shares[1:-1]),
        lasting_s,
        float(shares[-1]),
    )


def _not_negative(design: Array, variances: Array) -> Array:
    """Fit variances by parts none of which is negative, relative errors counting, by multiplicative steps.

    Lee and Seung, Advances in Neural Information Processing Systems 13 (2001) 556, with one fixed factor.
    """
    rows = design / variances[:, None]
    scale = rows.max(axis=0)
    rows = rows / scale
    gram, right = rows.T @ rows, rows.sum(axis=0)
    shares = np.full(design.shape[1], 1.0 / design.shape[1])
    for _ in range(_ROUNDS):
        shares = shares * right / (gram @ shares)
    return np.asarray(shares / scale)
