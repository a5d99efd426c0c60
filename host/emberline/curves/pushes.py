"""Pushes that move the load cell and leave nothing on it: a stove that swings, a lead that pulls and lets go."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from emberline.curves.robust import runs
from emberline.curves.step_sizes import Handling, Sizes

Sized = Callable[[list[Handling]], Sizes]
"""Sizes some handlings on the calm curve around them."""

SMALL_G = 5.0
"""A stroke of a stove that swings is no more than this."""
LARGE_G = 60.0
"""No push is taken for as much."""
STROKES = 3
"""So many small loads one soon after another may be those of a stove that swings."""
NIL = 3.0
"""Standard uncertainties within which a load is nil."""
TELLING = 6.0
"""Standard uncertainties by which a load must stand out for its absence to be told."""


def strokes(handlings: list[Handling], fit: Sizes, sized: Sized, within_s: int) -> NDArray[np.bool_]:
    """Tell which small loads are strokes of a stove that swings after a push, (k,).

    Several of them one soon after another, that leave much less between their ends than they add up to.

    Args:
        handlings: In order of time.
        fit: Their sizes.
        sized: Sizes others in their place.
        within_s: Seconds between them at most.
    """
    small = np.abs(fit.size_g) < SMALL_G
    apart_s = [later.start_s - earlier.end_s for earlier, later in pairwise(handlings)]
    joined = small[1:] & small[:-1] & (np.array(apart_s) < within_s)
    found = np.zeros(len(handlings), dtype=np.bool_)
    for first, end in runs(joined):
        if end - first + 1 < STROKES:
            continue
        others = [*handlings[:first], _whole(handlings[first].start_s, handlings[end].end_s), *handlings[end + 1 :]]
        left_g = sized(others).size_g[first]
        if abs(left_g) < 0.5 * abs(float(fit.size_g[first : end + 1].sum())):
            found[first : end + 1] = True
    return found


def let_go(start_s: int, end_s: int, fit: Sizes, sized: Sized) -> bool:
    """Tell whether disturbances one soon after another left nothing, though their loads do not add up to nothing.

    A lead that pulls sways meanwhile: no level between its pull and its release is calm enough to size either by, but
    the cell stands before and after where it would have stood.

    Args:
        start_s: First second of them all.
        end_s: First calm second after them all.
        fit: The sizes of those that seem to have left a load.
        sized: Sizes others in their place.
    """
    largest_g = float(np.max(np.abs(fit.size_g), initial=0.0))
    sum_g, u_sum_g = abs(float(fit.size_g.sum())), float(np.sqrt(fit.covariance_g2.sum()))
    if not (largest_g < LARGE_G and sum_g > NIL * u_sum_g):
        return False
    whole = sized([_whole(start_s, end_s)])
    left_g, u_g = abs(float(whole.size_g[0])), float(whole.u_g[0])
    return left_g < NIL * u_g and largest_g > TELLING * u_g


def _whole(start_s: int, end_s: int) -> Handling:
    """Return a handling that may have moved the load at any moment of a stretch."""
    return Handling(start_s, end_s, (float(start_s), float(end_s)), None)
