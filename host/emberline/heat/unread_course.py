"""The course of a pot's water of which no probe tells how warm it is, though weights tell how much left.

What warms the water is the fire, whose fuel is seen: the heat balance is followed from cold water on, and the share of
the heat that reaches the pot is the one with which as much has left as was weighed. So little leaves at first, most
while the water is hot, and much of the load's loss once the flame is out.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.water import latent_heat_j_g
from emberline.heat.evaporation import (
    CHAR_RATIO,
    CHAR_RATIO_U,
    SHARE_WITHOUT_RAMP,
    SHARE_WITHOUT_RAMP_REL_U,
    WALL_U_W_K,
    WALL_W_K,
    vapour_drive,
)
from emberline.heat.steam_model import MOST_SHARE, Unsure

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STEP_S = 15
"""Seconds of one step of the balance."""
GROWS = 0.3
"""Standard uncertainty of how much more of its heat the last gram of fuel gives the pot than the first, as a share: the
stove warms up, and what leaves last is not what leaves first (common practice, no source)."""
_SHARES = np.geomspace(0.05, 8.0, 32)
_TABLE_C = np.linspace(0.0, 110.0, 221)


@dataclass(frozen=True, eq=False)
class UnreadPot:
    """What is known of a pot without a probe.

    Attributes:
        loss_g_s: (n,) rate of loss of all that stands on the cell, not negative.
        inside: (n,) seconds of the stay.
        glowing: (n,) seconds after the end of flame.
        lid_passes: (n,) share of the vapour that a lid lets pass, 1 without one.
        capacity_j_k: Heat capacity of the pot with its water.
        start_c: Temperature of the water as it was set down.
        boiling_c: Its boiling point.
        air_c: Temperature of the air.
        pressure_pa: Air pressure.
        below_g_s: Coefficient of the vapour-pressure law.
        u_below_g_s: Its standard uncertainty.
        char_ratio: Steam that a gram of glowing char raises, over that of a gram of flaming fuel.
        wall_w_k: Heat lost through the wall.
        grows: How much more of its heat the last gram gives the pot than the first.
    """

    loss_g_s: Array
    inside: Mask
    glowing: Mask
    lid_passes: Array
    capacity_j_k: float
    start_c: float
    boiling_c: float
    air_c: float
    pressure_pa: float
    below_g_s: float
    u_below_g_s: float
    char_ratio: float = CHAR_RATIO
    wall_w_k: float = WALL_W_K
    grows: float = 0.0

    def standing(self) -> tuple[Array, Unsure]:
        """Return the rate where nothing was weighed and the share is the usual one; what works out its shifts."""
        rate = self._at(SHARE_WITHOUT_RAMP)

        def unsure() -> tuple[list[Array], list[UFloat]]:
            more = (1.0 + SHARE_WITHOUT_RAMP_REL_U) * SHARE_WITHOUT_RAMP
            shifts = {tag: pot._at(SHARE_WITHOUT_RAMP) - rate for tag, pot in self._otherwise().items()}
            shifts["steam_share"] = self._at(more) - rate
            return list(shifts.values()), [ufloat(0.0, 1.0, tag) for tag in shifts]

        return rate, unsure

    def closing(self, total: UFloat, until_s: float) -> tuple[Array, Unsure]:
        """Return a rate whose sum by `until_s` is a known total, and what works out its shifts with their variables."""
        k = int(np.ceil(until_s - 0.5))
        target_g = max(float(total.nominal_value), 0.0)
        rate = self._closed(target_g, k)

        def unsure() -> tuple[list[Array], list[UFloat]]:
            step_g = max(float(total.std_dev), 0.5)
            shifts = {tag: pot._closed(target_g, k) - rate for tag, pot in self._otherwise().items()}
            per_gram = (self._closed(target_g + step_g, k) - rate) / step_g
            return [per_gram, *shifts.values()], [
                total - total.nominal_value,
                *(ufloat(0.0, 1.0, tag) for tag in shifts),
            ]

        return rate, unsure

    def _otherwise(self) -> dict[str, "UnreadPot"]:
        """Return the pot as it would be one standard uncertainty off, by the name of what is off."""
        return {
            "evaporation_model": replace(self, below_g_s=self.below_g_s + self.u_below_g_s),
            "char_steam": replace(self, char_ratio=self.char_ratio + CHAR_RATIO_U),
            "pot_wall": replace(self, wall_w_k=self.wall_w_k + WALL_U_W_K),
            "no_water_probe": replace(self, grows=GROWS),
        }

    def _at(self, share: float) -> Array:
        """Return the rate for a share of the heat, (n,) g/s."""
        return self._between(float(np.interp(np.log(share), np.log(_SHARES), np.arange(len(_SHARES)))))

    def _closed(self, target_g: float, k: int) -> Array:
        """Return the rate for the share with which so much has left after `k` seconds, (n,) g/s."""
        made_g = self._rates[: -(-k // STEP_S)].sum(axis=0) * STEP_S
        rate = self._between(float(np.interp(target_g, made_g, np.arange(len(_SHARES)))))
        reached_g = float(rate[:k].sum())
        if not reached_g > 0.0:
            rate = self.inside.astype(np.float64)
            reached_g = max(float(rate[:k].sum()), 1.0)
        return np.asarray(rate * (target_g / reached_g))

    def _between(self, place: float) -> Array:
        low = min(int(place), len(_SHARES) - 2)
        rate = self._rates[:, low] * (low + 1.0 - place) + self._rates[:, low + 1] * (place - low)
        return np.asarray(np.repeat(rate, STEP_S)[: len(self.inside)] * self.inside)

    @cached_property
    def _rates(self) -> Array:
        """Return the water's loss in each step for each share of the heat that may reach the pot, (n / step, m) g/s."""
        n = len(self.loss_g_s)
        steps = -(-n // STEP_S)
        gone_g = np.cumsum(np.where(self.inside, self.loss_g_s, 0.0))
        place = gone_g / max(float(gone_g[-1]), 1e-9) - 0.5
        gift = np.where(self.glowing, self.char_ratio, 1.0) * (1.0 + self.grows * place)
        seconds = np.zeros((4, steps * STEP_S))
        seconds[:, :n] = self.loss_g_s, self.inside, gift, self.lid_passes
        loss, inside, gifts, passes = seconds.reshape(4, steps, STEP_S).mean(axis=2)
        latent_j_g = float(latent_heat_j_g(self.boiling_c))
        drives = vapour_drive(_TABLE_C, self.pressure_pa)
        water_c = np.full(len(_SHARES), self.start_c)
        rates = np.zeros((steps, len(_SHARES)))
        for i in np.flatnonzero(inside > 0.0).tolist():
            shares = _SHARES * gifts[i]
            steam = np.minimum(self.below_g_s * passes[i] * np.interp(water_c, _TABLE_C, drives), MOST_SHARE * loss[i])
            heat_g_s = shares * (loss[i] - steam) - steam - self.wall_w_k / latent_j_g * (water_c - self.air_c)
            water_c = water_c + heat_g_s * (latent_j_g * STEP_S / self.capacity_j_k)
            # What would heat it beyond its boiling point leaves as steam; that is no fuel's loss, and brings no heat.
            over_g_s = np.maximum(water_c - self.boiling_c, 0.0) * (self.capacity_j_k / (latent_j_g * STEP_S))
            rates[i] = np.minimum(steam + over_g_s / (1.0 + shares), loss[i])
            water_c = np.minimum(water_c, self.boiling_c)
        return rates
