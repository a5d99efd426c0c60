"""Readings that a stuck converter repeats.

A converter that hangs says its last code over and over, and then catches up in one jump that no load made. Its runs of
one and the same code are told from rests and from coarse codes by what the curve does around them: where neighbouring
readings rarely repeat, or where the load went on sinking by several codes meanwhile, a long run says nothing.
"""

import numpy as np
from numpy.typing import NDArray

from emberline.curves.grid import Column
from emberline.curves.robust import quantile, runs, white_noise_sd

Array = NDArray[np.float64]

NEIGHBOURS = 60
"""Readings on each side that tell how often a healthy converter repeats a code here."""
LEAST_RUN = 4
"""Shortest run of equal readings that can be called stuck."""
CHANCE = 1e-5
"""Chance of a run by honest repetition below which the converter was stuck."""


def without_stuck(column: Column) -> Array:
    """Return a column's values without the readings that a stuck converter repeated, (n,).

    The first reading of a stuck run is kept, for it was true; so is what follows the run, for there the converter has
    caught up.
    """
    where = np.flatnonzero(np.isfinite(column.value))
    v = column.value[where]
    if len(v) < 2 * LEAST_RUN:
        return column.value
    moves = column.spread[where] > 0.0
    same = (v[1:] == v[:-1]) & ~moves[1:] & ~moves[:-1]
    # Differences low..high-1 are zero: readings low..high are one code.
    long = [(low, high) for low, high in runs(same) if high - low + 1 >= LEAST_RUN]
    changes = np.abs(np.diff(v))
    changes = changes[changes > 0.0]
    if not long or len(changes) == 0:
        return column.value
    code = quantile(changes, 0.1)
    cleaned = column.value.copy()
    for low, high in long:
        if _stuck(where, v, same, low, high, code):
            last = high + 1
            if last < len(where) and column.count[where[last]] > 1:
                # The second in which the converter came loose holds both its old code and new ones.
                last += 1
            cleaned[where[low + 1 : last]] = np.nan
    return cleaned


def _stuck(where: NDArray[np.int64], v: Array, same: NDArray[np.bool_], low: int, high: int, code: float) -> bool:
    """Tell whether readings `low` to `high`, all of one code, come from a stuck converter."""
    before, after = same[max(0, low - NEIGHBOURS) : low], same[high : high + NEIGHBOURS]
    if len(before) + len(after) < LEAST_RUN:
        return False
    # Of the two sides the one that repeats more: a fire that dies down leaves longer runs behind it.
    repeats = max(
        ((float(side.sum()) + 1.0) / (len(side) + 2.0) for side in (before, after) if len(side) >= LEAST_RUN),
        default=1.0,
    )
    # At rest a coarse code may stand for long by honest chance; noise of more than a code does not let it.
    around = np.concatenate((v[max(0, low - NEIGHBOURS) : low], v[high + 1 : high + NEIGHBOURS]))
    if white_noise_sd(around) > 1.5 * code and repeats ** (high - low) < CHANCE:
        return True
    pace = _pace(where, v, low, high)
    sunk = pace * float(where[high] - where[low])
    if abs(sunk) <= 3.0 * code or high + 2 >= len(v):
        return False
    # And it has caught up: the jump after the run is about what the load had done meanwhile.
    jump = float(np.median(v[high + 1 : high + 4])) - float(v[high])
    return 0.5 < jump / sunk < 3.0


def _pace(where: NDArray[np.int64], v: Array, low: int, high: int) -> float:
    """Return the slower of the paces before and after a run, per second; zero where they have opposite signs."""
    sides = [(max(0, low - NEIGHBOURS // 2), low), (high + 1, min(len(v) - 1, high + NEIGHBOURS // 2))]
    paces = [(v[b] - v[a]) / (where[b] - where[a]) for a, b in sides if b - a >= LEAST_RUN]
    if not paces or min(paces) * max(paces) < 0.0:
        return 0.0
    return float(min(paces, key=abs))
