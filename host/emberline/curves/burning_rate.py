"""Mass and mass-loss rate by a state-space smoother.

Model: the true mass loses `r` grams a second, and `r` wanders as a random walk of intensity `q` (g²/s³); the load cell
adds independent noise. The Kalman filter gives what a live run knows, the Rauch-Tung-Striebel smoother what the whole
record knows (Rauch, Tung and Striebel, AIAA Journal 3 (1965) 1445). Gaps and masked seconds are simply not observed, so
the uncertainty grows across them. `q` is chosen for each burn by the likelihood of its innovations.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.linalg.lapack import dgbsv

from emberline.curves.robust import SlidingLines, between_codes, code_step, local_scale, white_noise_sd

Array = NDArray[np.float64]

WANDER_CHOICES = (2.5e-5, 1e-4, 4e-4, 1.6e-3)
"""Intensities of the rate's random walk to choose from, as a share of the squared rate per second: 4e-4 lets a rate
change by 11 % in 30 s. Faster wander than the last is not burning but wind."""
State = tuple[float, float, float, float, float]
"""The filter's state after a second: mass, rate, and their variances (mass, covariance, rate)."""
_FIRST_MASS_SD = 10.0
_FIRST_RATE_SD = 0.3
_NOISE_FLOOR_G = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class LossRate:
    """Mass and its rate of loss on the 1 Hz grid.

    Attributes:
        mass_g: (n,) smoothed mass without steps.
        rate_g_s: (n,) rate of loss, positive while mass falls.
        u_rate_g_s: (n,) its standard uncertainty.
        u_mass_g: (n,) standard uncertainty of `mass_g` from noise alone.
        noise_g: (n,) standard deviation of the cell's noise that was assumed.
        wander: The intensity of the random walk, g²/s³.
    """

    mass_g: Array
    rate_g_s: Array
    u_rate_g_s: Array
    u_mass_g: Array
    noise_g: Array
    wander: float


def noise_of(masked_g: Array) -> Array:
    """Return the noise of a mass curve as it acts on a slope, (n,) g.

    Taken from how lines on both sides of each second disagree, so gusts that last a few seconds count as the
    correlated noise that they are.
    """
    n = len(masked_g)
    k = np.arange(n)
    lines = SlidingLines(masked_g)
    width, gap = 6, 2
    _, t0, v0, s0, _ = lines.window(k - gap - width, k - gap)
    _, t1, v1, s1, _ = lines.window(k + gap, k + gap + width)
    difference = v1 + s1 * (k - 0.5 - t1) - v0 - s0 * (k - 0.5 - t0)
    reach = gap + (width - 1) / 2 + 0.5
    per_noise = math.sqrt(2 * (1 / width + reach**2 * 12 / (width**3 - width)))
    scale = local_scale(difference, half_width=90, step=15) / per_noise
    white = max(white_noise_sd(masked_g), code_step(masked_g) / 12.0**0.5, _NOISE_FLOOR_G)
    return np.asarray(np.where(np.isfinite(scale), np.maximum(scale, white), white))


def typical_rate(masked_g: Array) -> float:
    """Return the rate of a vigorous burn in this record, g/s.

    That is the 90th percentile of one-minute slopes, at least 0.02.
    """
    n = len(masked_g)
    k = np.arange(0, n, 10)
    _, _, _, slope, _ = SlidingLines(masked_g).window(k - 30, k + 30)
    falling = -slope[np.isfinite(slope)]
    return max(float(np.quantile(falling, 0.9)) if len(falling) else 0.0, 0.02)


def _liveliest(masked_g: Array, seconds: int = 600) -> slice:
    """Return the stretch in which most mass is lost: enough to judge how the rate wanders."""
    n = len(masked_g)
    if n <= seconds:
        return slice(0, n)
    known = np.flatnonzero(np.isfinite(masked_g))
    filled = np.interp(np.arange(n), known, masked_g[known]) if len(known) else np.zeros(n)
    begin = int(np.argmax(filled[:-seconds] - filled[seconds:]))
    return slice(begin, begin + seconds)


def smooth(masked_g: Array, *, wander: float | None = None) -> LossRate:
    """Smooth a masked mass curve, looking both ways in time.

    Args:
        masked_g: (n,) mass with steps removed and spoilt seconds as NaN.
        wander: Intensity of the rate's random walk, g²/s³; chosen by likelihood where None.
    """
    noise = noise_of(masked_g)
    masked_g = between_codes(masked_g)
    if wander is None:
        scale = typical_rate(masked_g) ** 2
        choices = [share * scale for share in WANDER_CHOICES]
        piece = _liveliest(masked_g)
        wander = max(choices, key=lambda q: log_likelihood(masked_g[piece], noise[piece], q))
    passed = _filter(masked_g, noise, wander)
    return _smoothed(passed, noise, wander)


def filtered(masked_g: Array, *, wander: float) -> LossRate:
    """Estimate mass and rate from the past alone, as a live run knows them."""
    noise = noise_of(masked_g)
    masked_g = between_codes(masked_g)
    passed = _filter(masked_g, noise, wander)
    u_mass, u_rate = np.sqrt(passed.p[:, 0]), np.sqrt(passed.p[:, 2])
    return LossRate(passed.x[:, 0], passed.x[:, 1], u_rate, u_mass, noise, wander)


def smooth_again(observed_g: Array, like: LossRate) -> LossRate:
    """Smooth a curve that differs from one already smoothed by what is known to be no fuel, such as water that left.

    Noise, gaps and wander are the same, and with them all uncertainties, which do not depend on the values; only the
    means are worked out, as the least squares that the smoother's solution is (Rauch, Tung and Striebel 1965), by one
    banded system instead of two passes. A value more than five standard deviations off counts less, the more so the
    farther it lies, as in the filter.

    Args:
        observed_g: (n,) mass with steps removed, spoilt seconds as NaN; a staircase already read between its codes.
        like: The curve already smoothed.
    """
    known = np.flatnonzero(np.isfinite(observed_g))
    if len(observed_g) < 3 or len(known) == 0:
        return like
    least = _least_squares(observed_g, like.noise_g, like.wander, known)
    return replace(like, mass_g=least.state[0::2] + least.first_g, rate_g_s=least.state[1::2])


def log_likelihood(masked_g: Array, noise_g: Array, wander: float) -> float:
    """Return how likely a mass curve is under a wander, as a logarithm but for a constant.

    The marginal likelihood of the linear model with normal noise: what the innovations of the filter sum to.

    Args:
        masked_g: (n,) mass with steps removed and spoilt seconds as NaN.
        noise_g: (n,) its noise.
        wander: Intensity of the rate's random walk, g²/s³.
    """
    n = len(masked_g)
    known = np.flatnonzero(np.isfinite(masked_g))
    if n < 3 or len(known) == 0:
        return 0.0
    least = _least_squares(masked_g, noise_g, wander, known)
    value = masked_g[known] - least.first_g
    explained = float(np.sum(value / least.variance_g2 * (value - least.state[2 * known])))
    before = -(n - 1) * math.log(wander**2 / 12.0) - 2.0 * math.log(_FIRST_MASS_SD * _FIRST_RATE_SD)
    after = 2.0 * float(np.sum(np.log(least.root[3])))
    return 0.5 * (before - after - float(np.sum(np.log(least.variance_g2))) - explained)


@dataclass(frozen=True, slots=True, eq=False)
class _LeastSquares:
    state: Array  # (2 n,) mass above the first, and rate, in turn
    first_g: float
    variance_g2: Array  # (m,) of the known values, wild ones widened
    root: Array  # (4, 2 n) banded Cholesky factor of the information


def _least_squares(observed_g: Array, noise_g: Array, wander: float, known: NDArray[np.intp]) -> _LeastSquares:
    n = len(observed_g)
    first = float(observed_g[known[0]])
    # About the first mass, so that grams and not kilograms are carried.
    value, white = observed_g[known] - first, noise_g[known] ** 2
    variance = white
    while True:
        banded = _information(n, wander)
        banded[3, 2 * known] += 1.0 / variance
        banded[3, 0] += 1.0 / _FIRST_MASS_SD**2
        banded[3, 1] += 1.0 / _FIRST_RATE_SD**2
        wanted = np.zeros(2 * n)
        wanted[2 * known] = value / variance
        root = cholesky_banded(banded, check_finite=False)
        state = np.asarray(cho_solve_banded((root, False), wanted, check_finite=False))
        excess = (value - state[2 * known]) ** 2 / (25.0 * white)
        if variance is not white or not (excess > 1.0).any():
            return _LeastSquares(state, first, variance, root)
        variance = white * np.maximum(excess, 1.0)


def _information(n: int, q: float) -> Array:
    """Return the information that the model alone gives on mass and rate of all seconds, upper banded form (4, 2 n).

    A step from a second to the next has the covariance q [[1/3, -1/2], [-1/2, 1]], whose inverse is
    [[12, 6], [6, 4]] / q.
    """
    banded = np.zeros((4, 2 * n))
    inner = np.full(n, 1.0)
    inner[0] = inner[-1] = 0.5
    banded[3, 0::2], banded[3, 1::2] = 24.0 * inner / q, 8.0 * inner / q
    # Within a second: -6 from the step after it, +6 from the step before.
    banded[2, 1], banded[2, 2 * n - 1] = -6.0 / q, 6.0 / q
    banded[1, 2::2], banded[0, 3::2] = -12.0 / q, -6.0 / q
    banded[2, 2::2], banded[1, 3::2] = 6.0 / q, 2.0 / q
    return banded


def smooth_onward(masked_g: Array, noise_g: Array, wander: float, before: State | None) -> tuple[LossRate, Array]:
    """Smooth the end of a record whose earlier part has been filtered, so that a live run need not begin anew.

    Args:
        masked_g: (n,) mass with steps removed and spoilt seconds as NaN.
        noise_g: (n,) its noise.
        wander: Intensity of the rate's random walk, g²/s³.
        before: The filter's state in the second before the first; None where the record begins here.

    Returns:
        The end, smoothed, and the filter's states, (n, 5).
    """
    passed = _filter(between_codes(masked_g), noise_g, wander, before)
    return _smoothed(passed, noise_g, wander), np.concatenate((passed.x, passed.p), axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Passed:
    x: Array  # (n, 2) filtered mass and rate
    p: Array  # (n, 3) their variances: mass, covariance, rate


def _filter(masked_g: Array, noise: Array, q: float, before: State | None = None) -> _Passed:
    n = len(masked_g)
    finite = np.flatnonzero(np.isfinite(masked_g))
    m = float(masked_g[finite[0]]) if len(finite) else 0.0
    r = 0.0
    p00, p01, p11 = _FIRST_MASS_SD**2, 0.0, _FIRST_RATE_SD**2
    if before is not None:
        m, r, p00, p01, p11 = before
    observed = masked_g.tolist()
    variance = (noise**2).tolist()
    # A list a quantity: tuples for each second would cost as much as the arithmetic.
    masses, rates, p00s, p01s, p11s = [m] * n, [r] * n, [p00] * n, [p01] * n, [p11] * n
    for i in range(n):
        if i or before is not None:
            m -= r
            p00 += -2.0 * p01 + p11 + q / 3.0
            p01 += -p11 - q / 2.0
            p11 += q
        y = observed[i]
        if y == y:
            s = p00 + variance[i]
            innovation = y - m
            # A rare wild value must not throw the state: its weight falls with the square of its distance.
            excess = innovation * innovation / (25.0 * s)
            if excess > 1.0:
                s = p00 + variance[i] * excess + p00 * (excess - 1.0)
            k0, k1 = p00 / s, p01 / s
            m += k0 * innovation
            r += k1 * innovation
            p11 -= k1 * p01
            p01 -= k0 * p01
            p00 -= k0 * p00
        masses[i], rates[i], p00s[i], p01s[i], p11s[i] = m, r, p00, p01, p11
    return _Passed(np.array((masses, rates)).T, np.array((p00s, p01s, p11s)).T)


def _smoothed(passed: _Passed, noise: Array, q: float) -> LossRate:
    n = len(noise)
    if n == 0:
        empty = np.zeros(0)
        return LossRate(empty, empty, empty, empty, empty, q)
    (m, r), (p00, p01, p11) = passed.x.T, passed.p[:-1].T
    # Prediction from a second to the next with F = [[1, -1], [0, 1]].
    a00, a01, a11 = p00 - 2.0 * p01 + p11 + q / 3.0, p01 - p11 - q / 2.0, p11 + q
    # Gain G = P F' A^-1, with P F' = [[p00 - p01, p01], [p01 - p11, p11]].
    b00, b10 = p00 - p01, p01 - p11
    g00, g01 = b00 * a11 - p01 * a01, p01 * a00 - b00 * a01
    g10, g11 = b10 * a11 - p11 * a01, p11 * a00 - b10 * a01
    g00, g01, g10, g11 = np.array((g00, g01, g10, g11)) / (a00 * a11 - a01 * a01)
    # Mean of the rest: x + G (smoothed next - F x).
    mean = _from_the_end(((g00, g01), (g10, g11)), passed.x, np.array((m - r, r)).T[:-1])
    # Variances: P + G (smoothed next - A) G'.
    own = (
        (g00**2, 2.0 * g00 * g01, g01**2),
        (g00 * g10, g00 * g11 + g01 * g10, g01 * g11),
        (g10**2, 2.0 * g10 * g11, g11**2),
    )
    variance = _from_the_end(own, passed.p, np.array((a00, a01, a11)).T)
    u_mass, _, u_rate = np.sqrt(np.maximum(variance, 0.0)).T
    return LossRate(mean[:, 0], mean[:, 1], u_rate, u_mass, noise, q)


def _from_the_end(gains: tuple[tuple[Array, ...], ...], filtered: Array, forecast: Array) -> Array:
    """Return `s` with `s[i] = filtered[i] + G[i] (s[i + 1] - forecast[i])`, and the last as it was filtered.

    One triangular banded system, because a loop in Python takes ten times as long.

    Args:
        gains: k by k elements of G, (n - 1,) each.
        filtered: (n, k).
        forecast: (n - 1, k).
    """
    n, k = filtered.shape
    top = 2 * k - 1
    banded = np.zeros((top + 1, n * k), order="F")
    banded[top] = 1.0
    known = filtered.copy()
    for row, elements in enumerate(gains):
        for column, gain in enumerate(elements):
            banded[top - (k + column - row), k + column :: k] = -gain
            known[:-1, row] -= gain * forecast[:, column]
    # `solve_banded` does this and no more, at three times the cost.
    _, _, solved, _ = dgbsv(0, top, banded, known.ravel(), overwrite_ab=True, overwrite_b=True)
    return np.asarray(solved).reshape(n, k)
