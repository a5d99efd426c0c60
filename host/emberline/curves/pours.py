"""Loads that are poured on slowly: for some seconds the load rises, or stands still over a pot that boils hard.

No fire makes a load rise, and none stops a boiling pot's steam from one second to the next to let it go on as it was a
little later. So a stretch whose pace lies far above the paces before and after it, which agree, is a load that came
in bit by bit.
"""

import numpy as np
from numpy.typing import NDArray

from emberline.curves.robust import SlidingLines, local_scale, runs

Array = NDArray[np.float64]

LEAST_POUR_G = 5.0
"""Smallest load that is looked for as a pour: what is less is lost between two paces."""
LEAST_POUR_G_S = 0.4
"""Slowest pour: a gust that leans on the cell may be slower, a hand that feeds is not (common practice, no source)."""
STOPPED_G_S = 0.4
"""Pace around, g/s, from which on a load that merely stands still is one that is poured on."""
STILL_G_S = 0.05
"""Pace that counts as standing still, g/s."""
_LENGTHS = (5, 9, 15, 25)  # readings of a pour
_BESIDE = 15  # readings on each side that tell the pace without it
_EDGE = 2  # readings at each edge that count for neither
_CLEAR = 8.0  # size over its uncertainty
_USUAL = 4.0  # size over what such differences usually are hereabouts: wind makes a load rise for some seconds, too
_JOINED = 3.0  # readings in wind that say as much as one in still air
_ALIKE = 0.5  # difference of the paces on both sides, as a share of what the pour adds to them


def find_pours(values: Array, spacing: int, least_noise_g: float) -> list[tuple[int, int]]:
    """Find the stretches in which a load was poured on.

    Args:
        values: (n,) mass on the 1 Hz grid without spikes, g; NaN where nothing was read.
        spacing: Usual distance between readings, seconds.
        least_noise_g: Smallest scatter to believe.

    Returns:
        Half-open stretches of seconds, in order of time, apart from each other.
    """
    lines = SlidingLines(values)
    k = np.arange(len(values))
    best, length = np.zeros(len(k)), np.zeros(len(k), dtype=np.int64)
    for readings in _LENGTHS:
        wide = readings * spacing
        clear = _clear(lines, k, wide, spacing, least_noise_g)
        better = clear > best
        best[better], length[better] = clear[better], wide
    peaks = [start + int(np.argmax(best[start:end])) for start, end in runs(best >= _CLEAR)]
    reach = length // 2 + _EDGE * spacing
    return [(max(0, peak - int(reach[peak])), min(len(values), peak + int(reach[peak]))) for peak in peaks]


def _clear(lines: SlidingLines, k: NDArray[np.int64], wide: int, spacing: int, least_noise_g: float) -> Array:
    """Return what came on within so many seconds around each second over its uncertainty, (n,); 0 where it was no pour.

    What comes on is what the paces beside do not explain. Its uncertainty is that of the three paces, with the scatter
    about their own lines.
    """
    low = k - wide // 2
    high = low + wide
    edge, beside = _EDGE * spacing, _BESIDE * spacing
    stretches = (low, high), (low - edge - beside, low - edge), (high + edge, high + edge + beside)
    inside, before, after = (_pace(lines, *stretch, least_noise_g) for stretch in stretches)
    around = np.maximum(before[0], after[0])
    with np.errstate(invalid="ignore"):
        beyond = inside[0] - around
        least = np.where(around < -STOPPED_G_S, -STILL_G_S, 0.5 * LEAST_POUR_G / wide)
        possible = (inside[0] >= least) & (np.abs(before[0] - after[0]) <= _ALIKE * beyond)
        possible &= (beyond >= LEAST_POUR_G_S) & (beyond * wide >= LEAST_POUR_G)
        if not possible.any():
            return np.zeros(len(k))
        possible &= beyond >= _USUAL * local_scale(beyond)
        return np.where(possible, beyond / np.sqrt(inside[1] + before[1] + after[1]), 0.0)


def _pace(
    lines: SlidingLines, low: NDArray[np.int64], high: NDArray[np.int64], least_noise_g: float
) -> tuple[Array, Array]:
    """Return the pace in each window, g/s, and its variance by the scatter about the window's line, each (n,)."""
    count, _, _, pace, scatter = lines.window(low, high)
    seconds = np.maximum(high - low, 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return pace, _JOINED * 12.0 * np.fmax(scatter, least_noise_g) ** 2 / (count * seconds**2)
