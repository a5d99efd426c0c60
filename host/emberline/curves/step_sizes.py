"""Sizes of steps whose places are known, by generalised least squares on the calm curve around them.

Model: around a handling the mass is a straight line, a pace that wanders as a random walk, the noise of the load cell
and the wind (`load_noise`), and one jump per handling. Handlings that lie close together are fitted at once, so that
their sizes add up to the change between the calm curve before and after them, however little lies between them; their
errors are correlated, and are kept so. A handling disturbs the fire and the pot: within it the pace may change by as
much as it is seen to have changed, and it may wander for a while afterwards. That is how long the curve on either side
counts.

Generalised least squares: Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline.curves.load_noise import LoadNoise

Array = NDArray[np.float64]
UNSETTLED_S = 40
"""Seconds for which the pace may wander after a handling."""
UNSETTLED_SHARE = 0.5
"""Standard deviation of that wander after 20 s, as a share of the change across the handling."""
LEAST_PACE_G_S = 0.02
"""Smallest pace to reckon a change with, g/s."""
OUTLIER = 5.0
"""Standardised distance from the rest from which on a reading is left out."""
_SINGLE = 10
"""Readings next to a handling that count one by one; farther ones count by the mean of `_BLOCK`."""
_BLOCK = 4
_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Sizes:
    """Sizes of the handlings of one fit.

    Attributes:
        size_g: (k,) load after less load before; NaN where a side has no reading.
        covariance_g2: (k, k) of their errors.
    """

    size_g: Array
    covariance_g2: Array

    @property
    def u_g(self) -> Array:
        """Standard uncertainties, (k,)."""
        return np.sqrt(np.diag(self.covariance_g2))


@dataclass(frozen=True, slots=True)
class Handling:
    """A handling of the load, of which only the size is not known.

    Attributes:
        start_s: First second that it spoils.
        end_s: First calm second after it.
        moving_s: Stretch of time within which the load moved, and with it the pace changed.
        stirs: Change of the pace to reckon with, as a share of the pace, beside the change that is seen; None where it
            changes no pace.
    """

    start_s: int
    end_s: int
    moving_s: tuple[float, float]
    stirs: float | None

    def earlier(self, by_s: int) -> "Handling":
        """Return the handling on a curve that begins later by so many seconds."""
        low, high = self.moving_s
        return Handling(self.start_s - by_s, self.end_s - by_s, (low - by_s, high - by_s), self.stirs)


def fit_sizes(values: Array, handlings: list[Handling], spacing: int, noise: LoadNoise, code_g: float) -> Sizes:
    """Size the handlings of a stretch of curve.

    Args:
        values: (n,) mass around the handlings, g; NaN where nothing was read.
        handlings: In order of time.
        spacing: Usual distance between readings, seconds.
        noise: Scatter of the curve.
        code_g: Step of the readings' codes; 0 where they have none to speak of.
    """
    calm = np.isfinite(values)
    for handling in handlings:
        calm[handling.start_s : handling.end_s] = False
    seconds = np.flatnonzero(calm)
    segment = np.searchsorted([handling.end_s for handling in handlings], seconds, side="right")
    pace, change = _paces(values, seconds, segment, len(handlings))
    t, y, count, segment = _thinned(seconds, values[seconds], segment)
    known = _told(segment, len(handlings))
    sizes = np.full(len(handlings), np.nan)
    total = np.zeros((len(handlings), len(handlings)))
    if not known.any() or len(t) < int(known.sum()) + 3:
        return Sizes(sizes, total)
    stirred = _stirred(len(values), handlings, spacing, pace, change)
    covariance = noise.covariance(t, count, stirred)
    jumps = (segment[:, None] > np.arange(len(handlings))[None, :]).astype(np.float64)
    design = np.column_stack([np.ones(len(t)), (t - t.mean()) / 60.0, jumps[:, known]])
    for _ in range(_ROUNDS):
        found, cov, away = _solve(design, y, covariance)
        worst = float(np.max(away, initial=0.0))
        keep = away < max(OUTLIER, 0.5 * worst)
        if keep.all() or keep.sum() < design.shape[1] + 2 or not (_told(segment[keep], len(handlings)) == known).all():
            break
        y, design, segment, covariance = y[keep], design[keep], segment[keep], covariance[np.ix_(keep, keep)]
    sizes[known] = found[2:]
    total[np.ix_(known, known)] = cov[2:, 2:]
    index = np.flatnonzero(known)
    total[index, index] += _code_error_g(code_g, noise.white_g, pace) ** 2
    return Sizes(sizes, total)


def _thinned(
    seconds: NDArray[np.int64], y: Array, segment: NDArray[np.int64]
) -> tuple[Array, Array, Array, NDArray[np.int64]]:
    """Join readings far from every handling into blocks; return times, means, readings in each, and segments."""
    edge = np.flatnonzero(np.diff(segment)) + 1
    index = np.arange(len(seconds))
    far = np.full(len(seconds), len(seconds))
    for at in edge.tolist():
        far = np.minimum(far, np.where(index < at, at - 1 - index, index - at))
    blocked = far >= _SINGLE
    # A block begins where its number changes; single readings have a number each.
    number = np.where(blocked, far // _BLOCK, -1 - index)
    begins = np.flatnonzero(np.concatenate(([True], (np.diff(number) != 0) | (np.diff(segment) != 0))))
    if len(seconds) == 0:
        return np.zeros(0), np.zeros(0), np.zeros(0), segment
    count = np.diff(np.append(begins, len(seconds))).astype(np.float64)
    return (
        np.add.reduceat(seconds.astype(np.float64), begins) / count,
        np.add.reduceat(y, begins) / count,
        count,
        segment[begins],
    )


def _told(segment: NDArray[np.int64], handlings: int) -> NDArray[np.bool_]:
    """Return which handlings have readings on both sides, before the one before and after the next, (k,)."""
    filled = np.bincount(segment, minlength=handlings + 1) > 0
    return np.asarray(filled[1:] & filled[:-1])


def _solve(design: Array, y: Array, covariance: Array) -> tuple[Array, Array, Array]:
    """Return coefficients, their covariance, and each reading's standardised distance from what the others say."""
    inverse = np.linalg.inv(covariance)
    weighed = inverse @ design
    cov = np.linalg.inv(design.T @ weighed)
    found = cov @ (weighed.T @ y)
    apart = inverse - weighed @ cov @ weighed.T
    away = np.abs(inverse @ (y - design @ found)) / np.sqrt(np.maximum(np.diag(apart), 1e-12))
    return found, np.asarray(cov, dtype=np.float64), away


def _paces(
    values: Array, seconds: NDArray[np.int64], segment: NDArray[np.int64], handlings: int
) -> tuple[float, float]:
    """Return the larger pace of the curve before and after the handlings, and by how much it changed, both g/s."""
    paces = []
    for side in (seconds[segment == 0][-30:], seconds[segment == handlings][:30]):
        if len(side) >= 8:
            # Medians of both halves; their middles are half of the stretch apart.
            half = len(side) // 2
            rise = float(np.median(values[side[half:]]) - np.median(values[side[:half]]))
            paces.append(2.0 * rise / float(side[-1] - side[0]))
    largest = max([LEAST_PACE_G_S, *(abs(pace) for pace in paces)])
    return largest, abs(paces[1] - paces[0]) if len(paces) == 2 else largest


def _stirred(n: int, handlings: list[Handling], spacing: int, pace: float, change: float) -> Array:
    """Return by how much each second's pace wanders because of the handlings, g²/s³."""
    added = np.zeros(n)
    second = np.arange(n)
    for handling in handlings:
        if handling.stirs is None:
            continue
        stir2 = change**2 + (handling.stirs * pace) ** 2
        start, end = handling.moving_s
        inside = np.clip(np.minimum(second + 1, end) - np.maximum(second, start), 0.0, 1.0)
        added += stir2 * inside / max(float(inside.sum()), 1e-3)
        after = slice(handling.end_s, handling.end_s + UNSETTLED_S * spacing)
        added[after] += UNSETTLED_SHARE**2 * stir2 / (20.0 * spacing)
    return added


def _code_error_g(code_g: float, white_g: float, pace: float) -> float:
    """Return the error that codes leave in a size where neither noise nor a sinking load carries them on.

    Scatter averages the codes' error away: its first harmonic shrinks with exp(-2 (pi s / code)²) (Widrow and Kollar,
    Quantization Noise, 2008, section 4; from memory).
    """
    if code_g <= 0.0:
        return 0.0
    scatter = math.hypot(white_g, 10.0 * pace / math.sqrt(12.0))
    return math.sqrt(2.0 / 12.0) * code_g * math.exp(-2.0 * (math.pi * scatter / code_g) ** 2)
