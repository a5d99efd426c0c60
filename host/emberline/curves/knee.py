"""The knee where a ramp meets its plateau: when, and how surely, from the readings of a probe that lags.

Model. Up to the knee the water warms at a rate that wanders: its changes every ten seconds are normal, their size a
share of the rate itself, since no fire is steady. After the knee the water stays. The knee may be rounded, since
bubbles reach the surface while the bulk is still tenths of a kelvin short; it is dated where half of the ramp's slope
is left, thus where half of the heat that warmed the water leaves as steam. The probe sees all this through a
first-order lag, and its readings wander by themselves: for seconds as bubbles pass, for minutes as it drifts.

Once the knee and three numbers of shape are given, all of that is linear and normal, so that the likelihood of a knee
is had in closed form with slopes and level integrated out (Rasmussen and Williams, Gaussian Processes for Machine
Learning, MIT Press 2006, section 2.7). The shapes are summed over a small grid with their prior weights.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ROUNDINGS_K = (0.0, 0.1, 0.25, 0.6)
"""Roundings of a knee that are weighed, K: at its knee the water is 0.69 of that below its plateau (ours)."""
ROUNDING_PRIOR = (0.4, 0.25, 0.2, 0.15)
WANDER_SHARES = (0.03, 0.1, 0.3)
"""Changes of a ramp's slope in ten seconds that are weighed, over the slope (ours: steady to gusty)."""
USUAL_SHARE, U_USUAL_SHARE = 0.85, 0.35
"""Slope at the end of a ramp over that of its last kelvins, and how much that varies (ours)."""
READING_WANDERS_K = (0.03, 0.08, 0.2, 0.45)
"""Wanders of the readings that are weighed, as standard deviations (ours)."""
BUBBLES_S, DRIFT_S = 4.0, 40.0
"""Correlation times of the readings' wander; half of its variance each (ours)."""
OUTLIER = 4.0
"""Departure from the model, in standard deviations, beyond which a reading is left out."""
_FAR_S = (25.0, 75.0)
_AVERAGED_S = (2.0, 4.0, 10.0)
_TYPICAL = 1
_KNOTS_S = np.array([0.0, 10.0, 20.0, 32.0, 47.0, 67.0, 95.0, 135.0, 190.0])
_NODES = np.log(np.arange(0.5, 7.0) / (7.0 - np.arange(0.5, 7.0)))
"""Middles of seven equal parts of a logistic distribution: bends averaged over them are one bend, rounded."""
_ALL_SHARES = tuple(range(len(WANDER_SHARES)))


class Witness(NamedTuple):
    """What something other than the thermometer says of a knee: its log likelihood at some moments."""

    t_s: Array
    log_likelihood: Array


@dataclass(frozen=True, slots=True)
class Knee:
    """Where a ramp ends.

    Attributes:
        t_s: When half of the ramp's slope is left, lag removed.
        u_s: Standard uncertainty as far as the readings tell it.
        level_c: Level of the plateau as the probe reads it.
        slope_k_s: Slope of the ramp where it ends.
    """

    t_s: float
    u_s: float
    level_c: float
    slope_k_s: float


def fit_knee(
    t_s: Array,
    value_c: Array,
    around_s: float,
    slope_k_s: float,
    lag_s: float,
    noise_k: float,
    witness: Witness | None = None,
) -> Knee | None:
    """Date the knee of a ramp.

    Args:
        t_s: (n,) increasing times of the readings.
        value_c: (n,) finite readings of the ramp's end and of its plateau.
        around_s: Where the knee is thought to be.
        slope_k_s: Slope of the ramp's last kelvins, roughly; above 0.
        lag_s: The probe's time constant.
        noise_k: Standard deviation of one reading's white noise; above 0.
        witness: What else tells when the knee was.

    Returns:
        The knee; None where the readings show none.
    """
    if len(t_s) < 6:
        return None
    fit = _Fit(*_thinned(t_s, value_c, around_s, noise_k), slope_k_s, lag_s, witness)
    reach = float(np.clip(2.0 / slope_k_s, 30.0, 150.0))
    centre, wander_k = around_s, READING_WANDERS_K[_TYPICAL]
    for _ in range(4):
        knees = centre + np.linspace(-1.0, 1.0, 21) * reach
        designs = [fit.design(knees, _TYPICAL)]
        scores = np.array([fit.weigh(knees, designs, wander).score[:, 0, 0] for wander in READING_WANDERS_K])
        best, at = np.unravel_index(int(np.argmax(scores)), scores.shape)
        centre, wander_k = float(knees[at]), READING_WANDERS_K[int(best)]
        if 0 < at < len(knees) - 1:
            break
    fit = fit.without_outliers(centre, wander_k)
    centre, sd = _moments(knees, np.exp(scores[best] - scores[best].max()))
    width = 4.0 * max(sd, reach / 20.0)
    for _ in range(4):
        knees = centre + np.linspace(-1.0, 1.0, 31) * width
        designs = [fit.design(knees, rounding) for rounding in range(len(ROUNDINGS_K))]
        weighed = fit.weigh(knees, designs, wander_k, _ALL_SHARES)
        weight = np.exp(weighed.score - weighed.score.max()) * np.asarray(ROUNDING_PRIOR)[None, :, None]
        weight /= weight.sum()
        over_knees = weight.sum(axis=(1, 2))
        centre, sd = _moments(knees, over_knees)
        if over_knees[0] + over_knees[-1] > 2e-3:
            width *= 2.0
        elif sd < 0.1 * width:
            width = max(4.0 * sd, 1.0)
        else:
            break
    coefficient = weighed.coefficients()
    level, slope = (float(np.sum(weight * coefficient[..., i])) for i in (0, 1))
    return Knee(centre, sd, level, slope) if slope > 0 else None


def _moments(at: Array, weight: Array) -> tuple[float, float]:
    """Return the mean and the standard deviation of a weighted grid."""
    mean = float(np.average(at, weights=weight))
    return mean, float(np.sqrt(np.average((at - mean) ** 2, weights=weight)))


def _thinned(t_s: Array, value_c: Array, around_s: float, noise_k: float) -> tuple[Array, Array, Array]:
    """Average readings, the more the farther they are from the knee; return times, values and white variances."""
    far = np.digitize(np.abs(t_s - around_s), _FAR_S)
    cell = np.floor(t_s / np.asarray(_AVERAGED_S)[far])
    start = np.concatenate(([0], np.flatnonzero((np.diff(cell) != 0) | (np.diff(far) != 0)) + 1))
    count = np.diff(np.append(start, len(t_s)))
    return np.add.reduceat(t_s, start) / count, np.add.reduceat(value_c, start) / count, noise_k**2 / count


class _Fit:
    """The evidence of readings for a knee.

    Args:
        t_s: (m,) times.
        value_c: (m,) values.
        white: (m,) variances of their white noise.
        slope_k_s: Slope of the ramp, roughly.
        lag_s: Lag of the probe.
        witness: What else tells when the knee was.
    """

    def __init__(
        self, t_s: Array, value_c: Array, white: Array, slope_k_s: float, lag_s: float, witness: Witness | None
    ) -> None:
        self._t_s, self._value_c, self._white = t_s, value_c, white
        self._slope_k_s, self._lag_s, self._witness = slope_k_s, lag_s, witness
        self._middle_c = float(np.median(value_c))
        self._bends = [_bends(lag_s, rounding / slope_k_s) for rounding in ROUNDINGS_K]
        self._priors = np.stack([self._prior(share) for share in WANDER_SHARES])
        self._whitens: dict[float, Array] = {}

    def without_outliers(self, knee_s: float, wander_k: float) -> "_Fit":
        """Return a fit without readings that nothing in the model explains, if they are few."""
        design = self.design(np.array([knee_s]), _TYPICAL)
        weighed = self.weigh(np.array([knee_s]), [design], wander_k)
        residual = self._value_c - design[:, 0, :] @ weighed.coefficients()[0, 0, 0]
        good = np.abs(residual) <= OUTLIER * np.sqrt(self._white + wander_k**2)
        if good.all() or good.mean() < 0.7:
            return self
        return _Fit(
            self._t_s[good], self._value_c[good], self._white[good], self._slope_k_s, self._lag_s, self._witness
        )

    def weigh(
        self, knees: Array, designs: list[Array], wander_k: float, shares: tuple[int, ...] = (_TYPICAL,)
    ) -> "_Weighed":
        """Weigh knees whose designs are given, one for each rounding."""
        whiten = self._whiten(wander_k)
        usual = USUAL_SHARE * self._slope_k_s
        plain = whiten @ (self._value_c - self._middle_c)
        m, k, p = designs[0].shape
        columns = np.empty((len(designs), k, m, p + 1))
        for i, design in enumerate(designs):
            columns[i, :, :, :p] = (whiten @ design.reshape(m, k * p)).reshape(m, k, p).swapaxes(0, 1)
        columns[..., p] = plain - usual * columns[..., 1]
        gram = np.swapaxes(np.swapaxes(columns, 2, 3) @ columns, 0, 1)
        prior = self._priors[list(shares)]
        system = np.repeat(gram[:, :, None], len(shares), axis=2)
        diagonal = np.arange(p)
        system[..., diagonal, diagonal] += prior
        # The last pivot of the system with its right side is what it leaves unexplained: no need to solve it.
        root = np.diagonal(np.linalg.cholesky(system), axis1=-2, axis2=-1)
        misfit = root[..., p] ** 2 + 2.0 * np.sum(np.log(root[..., :p]), axis=-1)
        told = np.interp(knees, *self._witness) if self._witness is not None else np.zeros(len(knees))
        base = float(np.sum(np.log(np.diag(whiten)))) + 0.5 * np.sum(np.log(prior), axis=1)
        return _Weighed(told[:, None, None] + base - 0.5 * misfit, system, self._middle_c, usual)

    def design(self, knees: Array, rounding: int) -> Array:
        """Return (m, k, p) columns for knees of one rounding: the level, the ramp, the ramp's bends at its knots."""
        x = knees[None, :, None] - _KNOTS_S[None, None, :] - self._t_s[:, None, None]
        design = np.ones((len(self._t_s), len(knees), len(_KNOTS_S) + 1))
        design[:, :, 1:] = -np.interp(x, *self._bends[rounding])
        return design

    def _whiten(self, wander_k: float) -> Array:
        """Return the (m, m) matrix that makes readings with this wander independent."""
        if wander_k not in self._whitens:
            apart = np.abs(self._t_s[:, None] - self._t_s[None, :])
            together = 0.5 * wander_k**2 * (np.exp(-apart / BUBBLES_S) + np.exp(-apart / DRIFT_S))
            self._whitens[wander_k] = np.linalg.inv(np.linalg.cholesky(together + np.diag(self._white)))
        return self._whitens[wander_k]

    def _prior(self, share: float) -> Array:
        """Return (p,) prior precisions: of the level next to none, of the slope, of its bends."""
        bends = 10.0 / ((share * self._slope_k_s) ** 2 * np.diff(_KNOTS_S))
        return np.concatenate(([1e-6, 1.0 / (U_USUAL_SHARE * self._slope_k_s) ** 2], bends))


class _Weighed(NamedTuple):
    """Knees by roundings by wanders of the slope: (k, r, s) log evidence, and the systems whose solutions they are."""

    score: Array
    system: Array
    middle_c: float
    usual_k_s: float

    def coefficients(self) -> Array:
        """Return (k, r, s, p) coefficients: level, slope, bends."""
        solved = np.linalg.solve(self.system[..., :-1, :-1], self.system[..., :-1, -1:])[..., 0]
        solved[..., 0] += self.middle_c
        solved[..., 1] += self.usual_k_s
        return np.asarray(solved)


def _bends(lag_s: float, width_s: float) -> tuple[Array, Array]:
    """Return where a rounded end is curved, and its course there; beyond, it goes on straight."""
    low, high = -20.0 * max(lag_s, 0.1) - 3.0 * width_s, 3.0 * width_s + 1.0
    x = np.concatenate(([-1e4], np.arange(0.5 * np.floor(2.0 * low), high + 0.5, 0.5), [1e4]))
    return x, _bend(x, lag_s, width_s)


def _bend(x: Array, lag_s: float, width_s: float) -> Array:
    """Return what a lagging probe shows of a ramp of slope -1 whose rounded end is `x` seconds away.

    A sharp ramp x gives x + lag before its end and lag exp(x / lag) after it.
    """
    total = np.zeros_like(x)
    nodes = _NODES if width_s > 0 else np.zeros(1)
    for node in nodes:
        y = x + width_s * node
        after = lag_s * np.exp(np.minimum(y, 0.0) / lag_s) if lag_s > 0.05 else np.zeros_like(y)
        total += np.where(y >= 0, y + lag_s, after)
    return np.asarray(total / len(nodes))
