"""How still water stands on its plateau: boiling water keeps its temperature, water below boiling follows the fire."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SETTLES_S = 20.0
"""Seconds after its knee in which a plateau settles, and over which it is averaged: bubbles shake a probe for less."""
LONGEST_S = 240.0
"""Seconds of plateau that are looked at; later the fire may die."""
LEAST_PIECES = 5
"""Averages without which nothing is said."""


def wander_k(t_s: Array, value_c: Array, knee_s: float, until_s: float, step_k: float) -> float:
    """Return by how much the water's temperature wanders on a plateau, K; NaN where too little of it was seen.

    That is the standard deviation of averages over 20 s, with what the codes of the readings may hide.

    Args:
        t_s: (n,) times.
        value_c: (n,) finite readings.
        knee_s: When the plateau began.
        until_s: When it was left.
        step_k: Step of the readings' codes.
    """
    begin_s = knee_s + SETTLES_S
    seen = (t_s > begin_s) & (t_s < min(until_s, begin_s + LONGEST_S))
    piece = ((t_s[seen] - begin_s) / SETTLES_S).astype(int)
    count = np.bincount(piece)
    full = count > 0.5 * np.max(count, initial=0)
    if full.sum() < LEAST_PIECES:
        return float("nan")
    means = _before_cooling(np.bincount(piece, weights=value_c[seen])[full] / count[full])
    if len(means) < LEAST_PIECES:
        return float("nan")
    return float(np.hypot(np.std(means), _hidden_k(value_c[seen], step_k)))


def _before_cooling(means_c: Array) -> Array:
    """Return the averages without those at the end that sink ever lower: the fire dies, which ends any plateau."""
    end = len(means_c)
    while end > 1 and means_c[end - 1] < means_c[: end - 1].min():
        end -= 1
    return means_c[:end]


def _hidden_k(value_c: Array, step_k: float) -> float:
    """Return what codes hide: noise that moves readings between them averages out, a standing code tells nothing."""
    stands = float(np.mean(np.diff(value_c) == 0.0))
    return stands * step_k / float(np.sqrt(12.0))
