"""The course of a pot's water in time, bent until it closes the account.

Two coefficients describe it: that of the vapour-pressure law below boiling, and the grams of steam that a gram of fuel
raises while the water boils. Where nothing was weighed they stand as `evaporation` gives them. Where a weight closes
the account, the pair is taken that closes it and lies nearest to what was expected of both, in units of their
uncertainties.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.heat.blind_share import BLIND_SHARE, BLIND_SHARE_U
from emberline.heat.evaporation import BELOW_REL_U, SHARE_REL_U, U_SHARE_GROWS

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Unsure = Callable[[], tuple[list[Array], list[UFloat]]]
"""Works out how each of some variables shifts a rate, (n,) each, and the variables."""

MOST_SHARE = 0.85
"""Largest share of the load's loss below boiling that can be water: something keeps the water hot."""
BLIND_GLOW = 1.5
"""Factor by which that share may be larger or smaller once char glows alone, one standard uncertainty (no source)."""
LEAST_TOTAL_U_G = 0.5
"""Uncertainty of a weighed total that is left at least: the model's own, over a stay of which it explains a little."""
MOST_CHANGE = 5.0
"""Factor by which one stay changes what is expected of a coefficient, at most."""
LAW_BENDS = 0.15
"""Standard uncertainty of the power of its drive with which evaporation really goes: natural convection above hot water
grows by 1.4 from 60 to 95 °C, which makes it 0.15 more, and Dalton's law in the mean pressure of the air, without
Stefan's flow, makes it 0.15 less."""
_LEAST_LOSS_G_S = 1e-9
_UPDATES = 3
_TRIED = np.exp(np.linspace(-1.5, 1.0, 101))
_SHARES = np.geomspace(1e-6, 60.0, 800)
_LOG_SHARES = np.log(_SHARES)


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
        warmer_drive: (n,) the same were the water as much warmer as its probe may read too low.
        loss_g_s: (n,) rate of loss of all that stands on the cell, not negative.
        cooling_g_s: (n,) steam that the pot's own heat raises as it cools, see `cooling`.
        boiling: (n,) seconds in which the water boils.
        glowing: (n,) seconds after the end of flame.
        inside: (n,) seconds of the stay.
        blind: (n,) seconds of the stay in which nobody knows how warm the water is.
        blind_share: Share of the load's loss that is water then.
        u_blind_share: Its standard uncertainty.
        u_probe_k: By how much the probe may read too low, standard uncertainty, K.
    """

    drive: Array
    warmer_drive: Array
    loss_g_s: Array
    cooling_g_s: Array
    boiling: Mask
    glowing: Mask
    inside: Mask
    blind: Mask
    blind_share: float = BLIND_SHARE
    u_blind_share: float = BLIND_SHARE_U
    u_probe_k: float = 1.0

    def rate(
        self, below_g_s: float, share: float, wall_g_s: float, char_ratio: float, blind_share: float | None = None
    ) -> Array:
        """Return the rate of water's loss, (n,) g/s.

        While boiling, steam is what the fuel's heat raises, and the pot's own as it cools, less the wall's loss; the
        fuel's loss is the cell's less that steam: `e = s (loss - e) + c - w`.
        """
        steam = share * np.where(self.glowing, char_ratio, 1.0)
        boiling = np.maximum(steam * self.loss_g_s + self.own_g_s - wall_g_s, 0.0) / (1.0 + steam)
        below = np.minimum(below_g_s * self.drive, self.most_below_g_s)
        of_loss = self.blind_share if blind_share is None else blind_share
        below = np.where(self.blind, of_loss * self.loss_g_s, below)
        return np.where(self.inside, np.where(self.boiling, boiling, below), 0.0)

    @property
    def own_g_s(self) -> Array:
        """What the pot's own heat raises, (n,) g/s: no more than the load loses."""
        return np.minimum(self.cooling_g_s, self.loss_g_s)

    @property
    def most_below_g_s(self) -> Array:
        """The most that can leave below boiling, (n,) g/s: the largest share of the loss, and what cooling adds."""
        return MOST_SHARE * self.loss_g_s + (1.0 - MOST_SHARE) * np.maximum(self.own_g_s, 0.0)

    def standing(self, c: Coefficients) -> tuple[Array, Unsure]:
        """Return the rate with the coefficients as they are, and what works out its shifts with their variables."""
        rate = self.rate(c.below_g_s, c.share, c.wall_g_s, c.char_ratio)

        def unsure() -> tuple[list[Array], list[UFloat]]:
            # Along the columns of a root of the covariance, the three move independently.
            root = np.linalg.cholesky(c.covariance + 1e-12 * np.eye(3))
            shifts = []
            for step in root.T:
                # Where the load's own loss is the limit, only one way is open.
                ways = [sign * (self._moved(c, sign * step) - rate) for sign in (1.0, -1.0)]
                shifts.append(max(ways, key=lambda way: float(np.abs(way).sum())))
            shifts.append(self.rate(c.below_g_s, c.share, c.wall_g_s, c.char_ratio + c.u_char_ratio) - rate)
            tags = ["evaporation_model", "steam_share", "pot_wall", "char_steam"]
            if self.blind.any():
                shifts.append(np.where(self.blind, self.u_blind_share * self.loss_g_s, 0.0))
                tags.append("no_water_probe")
            return shifts, [ufloat(0.0, 1.0, tag) for tag in tags]

        return rate, unsure

    def _moved(self, c: Coefficients, step: Array) -> Array:
        """Return the rate with the three coefficients moved by a step, (n,)."""
        moved = np.maximum(np.array([c.below_g_s, c.share, c.wall_g_s]) + step, 0.0)
        below_g_s, share, wall_g_s = moved.tolist()
        return self.rate(below_g_s, share, wall_g_s, c.char_ratio)

    def told_by(self, c: Coefficients, total: UFloat, until_s: float) -> Coefficients:
        """Return what to expect of the coefficients once a stay has been weighed: a Kalman filter's update, iterated.

        From one stay to the next they are as constant as from a ramp to its boil, and never less sure than before.
        """
        k = int(np.ceil(until_s - 0.5))
        before = np.array([c.below_g_s, c.share, c.wall_g_s])
        step = 0.1 * np.sqrt(np.diag(c.covariance))
        variance = max(float(total.std_dev), LEAST_TOTAL_U_G) ** 2
        found, gain, slope = before, np.zeros(3), np.zeros(3)
        for _ in range(_UPDATES):
            reached = float(self._moved(c, found - before)[:k].sum())
            further = [float(self._moved(c, found - before + one)[:k].sum()) for one in np.diag(step)]
            slope = (np.array(further) - reached) / step
            gain = c.covariance @ slope / (slope @ c.covariance @ slope + variance)
            found = before + gain * (float(total.nominal_value) - reached + slope @ (found - before))
            found = np.clip(found, before / MOST_CHANGE, before * MOST_CHANGE)
        gained = np.outer(gain, slope @ c.covariance)
        share_rel_u = np.hypot(SHARE_REL_U, U_SHARE_GROWS)
        constancy = np.array([BELOW_REL_U * found[0], share_rel_u * found[1], 0.0]) ** 2
        covariance = c.covariance - gained + np.diag(np.minimum(constancy, np.diag(gained)))
        return replace(
            c, below_g_s=float(found[0]), share=float(found[1]), wall_g_s=float(found[2]), covariance=covariance
        )

    def closing(self, c: Coefficients, total: UFloat, until_s: float) -> tuple[Array, Unsure]:
        """Return a rate whose sum by `until_s` is a known total, and what works out its shifts with their variables."""
        k = int(np.ceil(until_s - 0.5))  # seconds whose middle lies before it
        target = max(float(total.nominal_value), 0.0)
        seen = _Sums(self, k)
        best, *one_off = seen.nearest(c, self._explained(target, k), c.char_ratio)
        rate = self._closed(best, c.wall_g_s, c.char_ratio, k, target)

        def otherwise(what: "SteamModel", c: Coefficients, total_g: float) -> Array:
            """Return the shift where something else is true and the account is closed all the same."""
            sums = seen if what is self else _Sums(what, k)
            pair, *_ = sums.nearest(c, what._explained(total_g, k), c.char_ratio)
            return what._closed(pair, c.wall_g_s, c.char_ratio, k, total_g) - rate

        def unsure() -> tuple[list[Array], list[UFloat]]:
            # A gram more in the account, the same account one deviation along the valley, with another char ratio, ...
            step = max(float(total.std_dev), 0.5)
            per_gram = otherwise(self, c, target + step) / step
            # Where the load's own loss is the limit, only one way is open.
            ways = [self._closed(pair, c.wall_g_s, c.char_ratio, k, target) - rate for pair in one_off]
            # The wall takes little of a full flame's heat and much of what glowing char gives.
            wall_g_s = c.wall_g_s + float(c.covariance[2, 2] ** 0.5)
            top = float(self.drive.max()) or 1.0
            bent = replace(self, drive=top * (self.drive / top) ** (1.0 + LAW_BENDS))
            shifts = {
                "evaporation_model": [
                    max(ways, key=lambda way: float(np.abs(way).sum())),
                    otherwise(bent, c, target),
                ],
                "char_steam": [otherwise(self, replace(c, char_ratio=c.char_ratio + c.u_char_ratio), target)],
                "pot_wall": [otherwise(self, replace(c, wall_g_s=wall_g_s), target)],
                "water_probe": [otherwise(replace(self, drive=self.warmer_drive), c, target) / self.u_probe_k],
            }
            if self.blind.any() and not self.blind[self.inside].all():
                seen_less = max(self.blind_share - self.u_blind_share, 0.0)
                shifts["no_water_probe"] = [self._closed(best, c.wall_g_s, c.char_ratio, k, target, seen_less) - rate]
            elif self.blind.any() and (self.blind & self.glowing).any():
                later = rate * np.where(self.glowing, BLIND_GLOW, 1.0)
                reached = float(np.sum(later[:k]))
                shifts["no_water_probe"] = [later * (target / reached) - rate if reached > 0.0 else 0.0 * rate]
            scale = {"water_probe": self.u_probe_k}
            named = [(shift, ufloat(0.0, scale.get(tag, 1.0), tag)) for tag, parts in shifts.items() for shift in parts]
            return [per_gram, *(shift for shift, _ in named)], [total - total.nominal_value, *(v for _, v in named)]

        return rate, unsure

    def _explained(self, total_g: float, k: int) -> float:
        """Return the part of a total that the coefficients explain: what left unseen is none of it."""
        unseen = float(np.sum(np.where(self.blind, self.blind_share * self.loss_g_s, 0.0)[:k]))
        return max(total_g - unseen, 0.0)

    def _closed(
        self,
        pair: tuple[float, float],
        wall_g_s: float,
        char_ratio: float,
        k: int,
        target: float,
        blind_share: float | None = None,
    ) -> Array:
        rate = self.rate(*pair, wall_g_s, char_ratio, blind_share)
        reached = float(np.sum(rate[:k]))
        if not reached > 0.0:
            # Nothing tells when it left: it goes with the load's own loss.
            rate = np.where(self.inside, self.loss_g_s + 1e-6, 0.0)
            reached = float(np.sum(rate[:k]))
        return rate * (target / reached) if reached > 0.0 else rate


class _Boiling:
    """The seconds of one kind in which water boils, summed for many shares of steam at once."""

    def __init__(self, loss_g_s: Array, own_g_s: Array) -> None:
        self._loss_g_s, self._own_g_s = np.maximum(loss_g_s, _LEAST_LOSS_G_S), own_g_s
        self.seconds = len(loss_g_s)

    def steam_g(self, steam: Array, wall_g_s: float) -> Array:
        """Return the sum of `(steam * loss + own - wall) / (1 + steam)` over the seconds in which it is positive, (m,).

        In the order of the share from which on they are, running sums tell that without a look at each second.
        """
        added_g_s = self._own_g_s - wall_g_s
        begins = -added_g_s / self._loss_g_s
        order = np.argsort(begins)
        loss, added = (np.concatenate(([0.0], np.cumsum(one[order]))) for one in (self._loss_g_s, added_g_s))
        count = np.searchsorted(begins[order], steam)
        return np.asarray((steam * loss[count] + added[count]) / (1.0 + steam))


class _Sums:
    """Whole sums of a model by a moment, so that closing it needs no second look at the curve."""

    def __init__(self, model: SteamModel, k: int) -> None:
        steaming = model.inside & model.boiling
        own_g_s = model.own_g_s
        self._flaming, self._glowing = (
            _Boiling(model.loss_g_s[:k][kind[:k]], own_g_s[:k][kind[:k]])
            for kind in (steaming & ~model.glowing, steaming & model.glowing)
        )
        below = (model.inside & ~model.boiling)[:k] & (model.drive[:k] > 0.0)
        drive, cap = model.drive[:k][below], model.most_below_g_s[:k][below]
        # Seconds in the order in which a growing coefficient reaches their cap.
        order = np.argsort(cap / drive)
        self._capped_at = (cap / drive)[order]
        self._caps = np.concatenate(([0.0], np.cumsum(cap[order])))
        self._drives = np.concatenate((np.cumsum(drive[order][::-1])[::-1], [0.0]))

    def _below(self, below_g_s: Array) -> Array:
        """Return what leaves below boiling for coefficients of the vapour-pressure law, (m,)."""
        capped = np.searchsorted(self._capped_at, below_g_s, side="right")
        return np.asarray(self._caps[capped] + below_g_s * self._drives[capped])

    def nearest(
        self, c: Coefficients, target: float, char_ratio: float
    ) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
        """Return the pair of coefficients that closes the account nearest to expectation; one deviation each way."""
        below = c.below_g_s * _TRIED
        rest = target - self._below(below)
        share, missed = self._share_for(rest, c.wall_g_s, char_ratio)
        off = c.below_g_s * np.log(_TRIED)
        if self._boils:
            departure = np.stack((off, c.share * np.log(np.maximum(share, 1e-3) / c.share)))
            cost = np.sum(departure * np.linalg.solve(c.covariance[:2, :2], departure), axis=0)
        else:
            cost = off**2 / float(c.covariance[0, 0])
        cost += (missed / max(1.0, 0.02 * target)) ** 2
        best = int(np.argmin(cost))
        dearer = np.flatnonzero(cost > cost[best] + 1.0)
        less, more = dearer[dearer < best][-1:], dearer[dearer > best][:1]
        found = [best, *(int(side[0]) if len(side) else best for side in (less, more))]
        nearest, further_down, further_up = ((float(below[i]), float(share[i])) for i in found)
        return nearest, further_down, further_up

    @property
    def _boils(self) -> bool:
        return self._flaming.seconds + self._glowing.seconds > 0

    def _share_for(self, rest: Array, wall_g_s: float, char_ratio: float) -> tuple[Array, Array]:
        """Return the shares of steam that make up each rest, and what they cannot make up; (m,) each."""
        if not self._boils:
            return np.ones(len(rest)), np.abs(rest)
        # What the shares make grows with them: read backwards, that is the share for what is wanted.
        made = self._flaming.steam_g(_SHARES, wall_g_s) + self._glowing.steam_g(_SHARES * char_ratio, wall_g_s)
        share = np.exp(np.interp(rest, made, _LOG_SHARES))
        return share, np.maximum(rest - made[-1], 0.0) + np.maximum(made[0] - rest, 0.0)


def summed(rate: Array, shifts: Sequence[Array]) -> list[Array]:
    """Return the running sums of a rate and its shifts, (n + 1,) each."""
    return [np.concatenate(([0.0], np.cumsum(array))) for array in (rate, *shifts)]
