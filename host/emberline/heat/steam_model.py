"""The course of a pot's water in time, bent until it closes the account.

Two coefficients describe it: that of the vapour-pressure law below boiling, and the grams of steam that a gram of fuel
raises while the water boils. Where nothing was weighed they stand as `evaporation` gives them. Where a weight closes
the account, the pair is taken that closes it and lies nearest to what was expected of both, in units of their
uncertainties.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MOST_SHARE = 0.85
"""Largest share of the load's loss below boiling that can be water: something keeps the water hot."""
_TRIED = np.exp(np.linspace(-1.5, 1.0, 26))


@dataclass(frozen=True, slots=True, eq=False)
class Coefficients:
    """What drives the model.

    Attributes:
        below_g_s: Coefficient of the vapour-pressure law.
        share: Grams of steam that the heat from a gram of flaming fuel would raise.
        wall_g_s: Grams of steam a second that the wall's loss costs while the water boils.
        covariance: (3, 3) of these three, in their order.
        char_ratio: The share for a gram of glowing char, over that for flaming fuel.
        u_char_ratio: Its standard uncertainty.
    """

    below_g_s: float
    share: float
    wall_g_s: float
    covariance: Array
    char_ratio: float
    u_char_ratio: float


@dataclass(frozen=True, slots=True, eq=False)
class SteamModel:
    """What is seen of one stay of the pot.

    Attributes:
        drive: (n,) drive of the vapour-pressure law.
        loss_g_s: (n,) rate of loss of all that stands on the cell, not negative.
        boiling: (n,) seconds in which the water boils.
        glowing: (n,) seconds after the end of flame.
        inside: (n,) seconds of the stay.
    """

    drive: Array
    loss_g_s: Array
    boiling: Mask
    glowing: Mask
    inside: Mask

    def rate(self, below_g_s: float, share: float, wall_g_s: float, char_ratio: float) -> Array:
        """Return the rate of water's loss, (n,) g/s.

        While boiling, steam is what the fuel's heat raises less the wall's loss, and the fuel's loss is the cell's less
        that steam: `e = s (loss - e) - w`.
        """
        steam = share * np.where(self.glowing, char_ratio, 1.0)
        boiling = np.maximum(steam * self.loss_g_s - wall_g_s, 0.0) / (1.0 + steam)
        below = np.minimum(below_g_s * self.drive, MOST_SHARE * self.loss_g_s)
        return np.where(self.inside, np.where(self.boiling, boiling, below), 0.0)

    def standing(self, c: Coefficients) -> tuple[Array, list[Array], list[UFloat]]:
        """Return the rate with the coefficients as they are, and its shifts with their variables."""
        rate = self.rate(c.below_g_s, c.share, c.wall_g_s, c.char_ratio)
        # Along the columns of a root of the covariance, the three move independently.
        root = np.linalg.cholesky(c.covariance + 1e-12 * np.eye(3))
        shifts = []
        for below, share, wall in root.T.tolist():
            moved = (max(c.below_g_s + below, 0.0), max(c.share + share, 0.0), max(c.wall_g_s + wall, 0.0))
            shifts.append(self.rate(*moved, c.char_ratio) - rate)
        shifts.append(self.rate(c.below_g_s, c.share, c.wall_g_s, c.char_ratio + c.u_char_ratio) - rate)
        tags = ("evaporation_model", "steam_share", "evaporation_model", "evaporation_model")
        return rate, shifts, [ufloat(0.0, 1.0, tag) for tag in tags]

    def closing(self, c: Coefficients, total: UFloat, until_s: float) -> tuple[Array, list[Array], list[UFloat]]:
        """Return the rate whose sum by `until_s` is what was weighed, and its shifts with their variables."""
        k = int(until_s)
        target = max(float(total.nominal_value), 0.0)
        seen = _Sums(self, k)
        best, one_off = seen.nearest(c, target, c.char_ratio)
        rate = self._closed(best, c.wall_g_s, c.char_ratio, k, target)
        # A gram more in the account, the same account one deviation along the valley, and with another char ratio.
        step = max(float(total.std_dev), 0.5)
        more, _ = seen.nearest(c, target + step, c.char_ratio)
        per_gram = (self._closed(more, c.wall_g_s, c.char_ratio, k, target + step) - rate) / step
        along = self._closed(one_off, c.wall_g_s, c.char_ratio, k, target) - rate
        other_ratio = c.char_ratio + c.u_char_ratio
        other, _ = seen.nearest(c, target, other_ratio)
        by_ratio = self._closed(other, c.wall_g_s, other_ratio, k, target) - rate
        variables = [
            total - total.nominal_value,
            ufloat(0.0, 1.0, "evaporation_model"),
            ufloat(0.0, 1.0, "steam_share"),
        ]
        return rate, [per_gram, along, by_ratio], variables

    def _closed(self, pair: tuple[float, float], wall_g_s: float, char_ratio: float, k: int, target: float) -> Array:
        rate = self.rate(*pair, wall_g_s, char_ratio)
        reached = float(np.sum(rate[:k]))
        return rate * (target / reached) if reached > 0 else rate


class _SortedLoss:
    """Rates of loss in falling order with their running sums: what exceeds a limit is summed without a second look."""

    def __init__(self, loss_g_s: Array) -> None:
        self._rising = np.sort(loss_g_s)
        self._sums = np.concatenate(([0.0], np.cumsum(self._rising[::-1])))
        self.seconds = len(loss_g_s)

    def above(self, limit_g_s: float, wall_g_s: float, steam: float) -> float:
        """Return the sum of `steam * loss - wall` over the seconds in which it is positive."""
        count = self.seconds - int(np.searchsorted(self._rising, limit_g_s, side="right"))
        return float(steam * self._sums[count] - wall_g_s * count)


class _Sums:
    """Whole sums of a model by a moment, so that closing it needs no second look at the curve."""

    def __init__(self, model: SteamModel, k: int) -> None:
        steaming = model.inside & model.boiling
        self._flaming = _SortedLoss(model.loss_g_s[:k][(steaming & ~model.glowing)[:k]])
        self._glowing = _SortedLoss(model.loss_g_s[:k][(steaming & model.glowing)[:k]])
        below = (model.inside & ~model.boiling)[:k]
        self._drive, self._cap = model.drive[:k][below], MOST_SHARE * model.loss_g_s[:k][below]

    def _steam(self, share: float, wall_g_s: float, char_ratio: float) -> float:
        glow = share * char_ratio
        return self._flaming.above(wall_g_s / share, wall_g_s, share) / (1.0 + share) + self._glowing.above(
            wall_g_s / glow, wall_g_s, glow
        ) / (1.0 + glow)

    def nearest(
        self, c: Coefficients, target: float, char_ratio: float
    ) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return the pair of coefficients that closes the account nearest to expectation, and one deviation further."""
        pairs, costs = [], []
        for factor in _TRIED:
            below_g_s = c.below_g_s * float(factor)
            rest = target - float(np.sum(np.minimum(below_g_s * self._drive, self._cap)))
            share, missed = self._share_for(rest, c.wall_g_s, char_ratio)
            off = c.below_g_s * math.log(factor)
            if self._boils:
                departure = np.array([off, c.share * math.log(max(share, 1e-3) / c.share)])
                cost = float(departure @ np.linalg.solve(c.covariance[:2, :2], departure))
            else:
                cost = off**2 / float(c.covariance[0, 0])
            pairs.append((below_g_s, share))
            costs.append(cost + (missed / max(1.0, 0.02 * target)) ** 2)
        best = int(np.argmin(costs))
        further = next((i for i in range(best + 1, len(costs)) if costs[i] > costs[best] + 1.0), best)
        return pairs[best], pairs[further]

    @property
    def _boils(self) -> bool:
        return self._flaming.seconds + self._glowing.seconds > 0

    def _share_for(self, rest: float, wall_g_s: float, char_ratio: float) -> tuple[float, float]:
        """Return the share of steam that makes up the rest, and what it cannot make up."""
        if not self._boils:
            return 1.0, rest
        low, high = 1e-6, 60.0
        if rest <= 0:
            return low, rest
        most = self._steam(high, wall_g_s, char_ratio)
        if most < rest:
            return high, rest - most
        for _ in range(24):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._steam(middle, wall_g_s, char_ratio) < rest else (low, middle)
        return 0.5 * (low + high), 0.0


def summed(rate: Array, shifts: Sequence[Array]) -> list[Array]:
    """Return the running sums of a rate and its shifts, (n + 1,) each."""
    return [np.concatenate(([0.0], np.cumsum(array))) for array in (rate, *shifts)]
