"""How much of what is left when the flame ends is wood still.

Two things leave wood: pieces that have not charred through by then, a little in every burn, and a flame that goes out
before the fire has reached all of the fuel, in few burns and much. Which of the two it was, shows by how much is left:
more than wood leaves as char is wood.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

IN_PIECES = 0.07
"""Mean of the share of what is left that is wood within pieces, exponentially distributed: it is never less than none.
Operators' flameouts over cone calorimeters leave 9 to 20 % of the rate; where that dies away within one to two minutes,
volatiles of 3 to 8 % of what is left are still to come (common practice, no source), which are 80 % of their wood: 4 to
10 %. Charcoals are as far apart: 5 to 40 % of them is volatile (FAO Forestry Paper 41, 1987, chapter 10, from
memory)."""
GONE_OUT_EARLY = 0.02
"""Chance that the flame went out early, with any share left as wood (common practice, no source)."""
CHAR_YIELD = (0.20, 0.07)
"""Dry char over the dry fuel that has charred, with standard uncertainty: top-lit stoves leave 0.10 to 0.22 (James,
Yuan and Boyette, Energies 9 (2016) 283), slow charring 0.25 to 0.35 (Antal and Grønli, Ind. Eng. Chem. Res. 42 (2003)
1619, from memory)."""
_SHARES = (np.arange(500) + 0.5) / 500.0


@dataclass(frozen=True, slots=True)
class Uncharred:
    """Shares of what is left, of its dry mass, means and standard uncertainties.

    Attributes:
        wood: What is wood still, in pieces or untouched.
        u_wood: Its standard uncertainty; 1.96 of it to both sides hold 95 % of all cases.
        raw: What the fire has not reached; none where that is 95 % sure.
        u_raw: Likewise.
    """

    wood: float
    u_wood: float
    raw: float
    u_raw: float


def uncharred(left: float, u_left: float, *, sorted_out: bool) -> Uncharred:
    """Tell wood from char in what was left, by Bayes' rule over every share of wood.

    Args:
        left: What was left over the fuel put in, both dry; not negative, below 1.
        u_left: Its standard uncertainty.
        sorted_out: Whether somebody has taken out what the fire had not reached.
    """
    char_yield = (1.0 - _SHARES) * left / (1.0 - _SHARES * left)
    mean, u = CHAR_YIELD
    fits = np.exp(-0.5 * ((char_yield - mean) / np.hypot(u, u_left)) ** 2)
    out_early = 0.0 if sorted_out else GONE_OUT_EARLY
    in_pieces = (1.0 - out_early) * np.exp(-_SHARES / IN_PIECES) / IN_PIECES * fits
    early = out_early * fits
    either = in_pieces + early
    wood, u_wood = _held(either / either.sum())
    chance_early = early / either.sum()
    raw, u_raw = _held(chance_early) if chance_early.sum() > 0.05 else (0.0, 0.0)
    return Uncharred(wood, u_wood, raw, u_raw)


def _held(chance: Array) -> tuple[float, float]:
    """Return the mean of a share, and that u for which the mean and 1.96 u to both sides hold 95 % of all cases.

    Args:
        chance: (n,) chances of `_SHARES`; the share is none in the cases that they lack to 1.
    """
    mean = float(np.sum(chance * _SHARES))
    shares, chances = np.append(_SHARES, 0.0), np.append(chance, max(1.0 - float(chance.sum()), 0.0))
    off = np.abs(shares - mean)
    nearest = np.argsort(off)
    at = int(np.searchsorted(np.cumsum(chances[nearest]), 0.95))
    return mean, float(off[nearest[min(at, len(nearest) - 1)]]) / 1.96
