"""Coloured noise, made in the frequency domain, and a wind whose gusts have no scale of their own."""

import math

import numpy as np
from numpy.typing import NDArray


def coloured(
    n: int, step_s: float, slope: float, slowest_s: float, rng: np.random.Generator, quickest_s: float = 0.0
) -> NDArray[np.float64]:
    """Return (n,) samples of Gaussian noise of unit variance whose spectral density falls as frequency^-`slope`.

    Args:
        n: Number of samples.
        step_s: Their spacing.
        slope: 0 is white, 1 pink, 5/3 the inertial range of turbulence (Kolmogorov 1941), 2 brown.
        slowest_s: Period above which the density is flat.
        rng: Source of chance.
        quickest_s: Period below which there is nothing; 0 for no such limit.

    """
    if n < 4:
        return rng.normal(0.0, 1.0, n)
    frequency = np.fft.rfftfreq(n, step_s)
    shape = (frequency**2 + slowest_s**-2.0) ** (-slope / 4.0)
    if quickest_s > 0.0:
        shape *= 1.0 / (1.0 + (frequency * quickest_s) ** 4)
    shape[0] = 0.0
    spectrum = shape * (rng.normal(size=len(shape)) + 1j * rng.normal(size=len(shape)))
    scale = n / (2.0 * math.sqrt(float(np.sum(shape * shape))))
    return np.asarray(np.fft.irfft(spectrum, n) * scale, dtype=np.float64)


def wind_m_s(n: int, step_s: float, mean_m_s: float, gustiness: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) wind speeds, lognormal around `mean_m_s`, between pink noise and the 5/3 law.

    Args:
        n: Number of steps.
        step_s: Spacing of the steps.
        mean_m_s: Mean speed.
        gustiness: Standard deviation over mean (0.2 to 0.5 near the ground: common practice, no source).
        rng: Source of chance.

    """
    spread = math.sqrt(math.log(1.0 + gustiness**2))
    return np.asarray(mean_m_s * np.exp(spread * coloured(n, step_s, 1.35, 400.0, rng) - 0.5 * spread**2))
