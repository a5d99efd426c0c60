"""The burn: a batch lit on top, its front of pyrolysis descending, the flame above it and the char it leaves.

The flame holds as long as the volatiles' power stays above an extinction level. Char glows where volatiles no longer
shield it from the air. Mass and energy are conserved exactly: whatever leaves carries its heat, and heats add up to
the fuel's heating value less that of the char that stays.
"""

import math
from dataclasses import dataclass

import numpy as np

from emberline_sim.forms import FORMS
from emberline_sim.layer import Layer, moisture_pace
from emberline_sim.trial_specs import BurnSpec, FuelSpec, RefuelSpec

UNLIT_PACE = 0.5
"""Pace of the front without a flame above it to keep it warm."""
DYING_S = 14.0
CHILLING_S = 2.5
BREATH = 0.06
"""Share of their volatiles that chilled or starved particles go on giving off."""
STARTER_G_S = 0.045
"""Burning rate of a puddle of ethanol in a bore of 10 cm: some 6 g/(m2 s) (small pool fires: order of magnitude)."""
STARTER_GROWTH_S = 12.0
CHAR_SUPPLY = 2.0 / 3.0
"""Glow goes with the surface of the char, that is with this power of its mass."""
LAYERS_SHARE_AIR = 1.1
"""Two layers burn together at this multiple of one at most: the air holes are the same."""
KINDLED_S = 120.0
"""Wet tops and splinters hold a flame this long after lighting, before volatiles from the bed must."""
HELD_S = 45.0
"""A lighter holds a second flame this long."""
REIGNITION = 1.4
"""Volatiles' power at which glowing char lights them again, over that at which a flame goes out."""


@dataclass(slots=True)
class Release:
    """What left the stove in one step, with its heat, and whether a flame burnt on it."""

    volatiles_g: float
    char_g: float
    starter_g: float
    volatiles_j: float
    char_j: float
    starter_j: float
    flame: bool

    @property
    def mass_g(self) -> float:
        """All mass that left."""
        return self.volatiles_g + self.char_g + self.starter_g

    @property
    def heat_j(self) -> float:
        """All heat that left, burnt or not."""
        return self.volatiles_j + self.char_j + self.starter_j

    @property
    def flame_j(self) -> float:
        """Heat of the visible flame."""
        return self.volatiles_j + self.starter_j if self.flame else 0.0


class Bed:
    """The fuel on the grate, from the match to the ash."""

    def __init__(self, fuel: FuelSpec, burn: BurnSpec, rng: np.random.Generator) -> None:
        """Fill the stove; nothing burns before `light`."""
        self._fuel, self._burn, self._rng = fuel, burn, rng
        self._form = FORMS[fuel.form]
        rate_g_s = self._form.rate_g_min / 60.0 * burn.rate_factor
        self._layers = [self._layer(fuel.mass_g, fuel.moisture_wet, self._form.ramp_s * burn.ramp_factor, 0.0)]
        self._filled_g = fuel.mass_g
        self.starter_g = fuel.starter_g
        self.char_g = 0.0
        self._char_reference_g = fuel.mass_g * (1.0 - self._layers[0].volatile_share)
        first = self._layers[0]
        self.nominal_volatiles_g_s = rate_g_s * moisture_pace(fuel.moisture_wet) * first.volatile_share
        self.nominal_power_w = self.nominal_volatiles_g_s * first.heat_j_g
        self._lit = False
        self._health, self._dip_recovery_s, self._dying = 1.0, 12.0, False
        self._falls_to: float | None = None
        self._cooling_s = 0.0
        self._held_s = 0.0
        self._flame = False
        self._snuffed = False
        self._volatiles_g_s = 0.0

    def _layer(self, mass_g: float, moisture: float, ramp_s: float, delay_s: float) -> Layer:
        rate_g_s = self._form.rate_g_min / 60.0 * self._burn.rate_factor * moisture_pace(moisture)
        return Layer(self._form, mass_g, moisture, self._fuel, rate_g_s, ramp_s, delay_s, self._rng)

    @property
    def raw_g(self) -> float:
        """Moist fuel that the front has not reached."""
        return sum(sum(layer.raw_g) for layer in self._layers)

    @property
    def pyrolysing_g(self) -> float:
        """Volatiles still inside particles that the front has passed."""
        return sum(layer.young_g + layer.old_g for layer in self._layers)

    @property
    def fuel_g(self) -> float:
        """All that is left of the fuel: raw, half-pyrolysed, char; without starter."""
        return self.raw_g + self.pyrolysing_g + self.char_g

    @property
    def stored_j(self) -> float:
        """Heat that could still be released by the fuel and the starter on the grate."""
        layers = sum(
            (sum(layer.raw_g) * layer.volatile_share + layer.young_g + layer.old_g) * layer.heat_j_g
            + sum(layer.raw_g) * (1.0 - layer.volatile_share) * self._fuel.char_lhv_j_g
            for layer in self._layers
        )
        return layers + self.char_g * self._fuel.char_lhv_j_g + self.starter_g * self._fuel.starter_lhv_j_g

    @property
    def flame(self) -> bool:
        """Whether a visible flame burns."""
        return self._flame

    def light(self) -> None:
        """Put a match to the starter (or to the top of the batch)."""
        self._lit = self._flame = True
        self._held_s = KINDLED_S

    def add(self, refuel: RefuelSpec) -> None:
        """Drop cold fuel on the bed: it breaks the front below and catches from the char."""
        ramp_s = 0.6 * self._form.ramp_s
        delay_s = float(self._rng.uniform(12.0, 30.0))
        self._layers.append(self._layer(refuel.mass_g, refuel.moisture_wet, ramp_s, delay_s))
        self._filled_g += refuel.mass_g
        self._falls_to = refuel.dip
        self._dip_recovery_s = refuel.recovery_s

    def smother(self) -> None:
        """Let the front die: what it has not reached stays raw."""
        self._dying = True

    def relight(self) -> None:
        """Bring the front back with a lighter."""
        self._dying, self._health, self._dip_recovery_s = False, max(self._health, 0.06), 18.0
        self._flame, self._held_s, self._cooling_s = True, HELD_S, 0.0

    def snuff(self) -> None:
        """Cut the air off the char for good."""
        self._snuffed = True

    def step(self, dt_s: float, wander: float) -> Release:
        """Advance by `dt_s` at a pace of 1 + `wander`; return what left."""
        if not self._lit or self._snuffed:
            return Release(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, False)
        grown = 1.0 - math.exp(-(self._layers[0].age_s + dt_s) / STARTER_GROWTH_S)
        starter_g = min(self.starter_g, STARTER_G_S * dt_s * grown * min(1.0, 0.25 + self.starter_g))
        self.starter_g -= starter_g
        self._live_front(dt_s)
        burned = 1.0 - self.raw_g / self._filled_g
        demand = sum(layer.demand_g_s() for layer in self._layers)
        limit = LAYERS_SHARE_AIR * self._layers[0].rate_g_s
        share = min(1.0, limit / demand) if demand > 0.0 else 1.0
        pace = max(0.0, 1.0 + wander) * (1.0 + self._burn.trend * (burned - 0.5)) * share
        pace *= 1.0 if self._flame else UNLIT_PACE
        volatiles_g = volatiles_j = 0.0
        for index, layer in enumerate(self._layers):
            newest = index == len(self._layers) - 1 and index > 0
            own = pace if newest and not self._dying else pace * self._health
            out_g, char_g = layer.step(dt_s, own, BREATH + (1.0 - BREATH) * self._health)
            volatiles_g += out_g
            volatiles_j += out_g * layer.heat_j_g
            self.char_g += char_g
        self._volatiles_g_s = volatiles_g / dt_s
        self._keep_flame(dt_s, volatiles_j / dt_s, starter_g > 0.0)
        glow_g = self._glow_g(dt_s)
        self.char_g -= glow_g
        return Release(
            volatiles_g, glow_g, starter_g, volatiles_j, glow_g * self._fuel.char_lhv_j_g,
            starter_g * self._fuel.starter_lhv_j_g, self._flame,
        )  # fmt: skip

    def _live_front(self, dt_s: float) -> None:
        if self._dying:
            self._health *= math.exp(-dt_s / DYING_S)
        elif self._falls_to is not None:
            self._health += (self._falls_to - self._health) * (1.0 - math.exp(-dt_s / CHILLING_S))
            if self._health < 1.1 * self._falls_to:
                self._falls_to = None
        else:
            self._health += self._health * (1.0 - self._health) * dt_s / self._dip_recovery_s

    def _keep_flame(self, dt_s: float, power_w: float, starter_burns: bool) -> None:
        limit_w = self._burn.extinction * self.nominal_power_w * (1.0 if self._flame else REIGNITION)
        self._held_s = max(0.0, self._held_s - dt_s)
        self._flame = starter_burns or self._held_s > 0.0 or power_w > limit_w

    def _glow_g(self, dt_s: float) -> float:
        ash_g = sum(layer.ash_g for layer in self._layers)
        burnable_g = max(0.0, self.char_g - ash_g)
        if burnable_g == 0.0:
            return 0.0
        shielded = min(1.0, self._volatiles_g_s / self.nominal_volatiles_g_s)
        if not self._flame:
            self._cooling_s += dt_s
        cooled = 0.22 + 0.78 * math.exp(-self._cooling_s / self._burn.char_cooling_s)
        reach = self._form.char_share + (1.0 - self._form.char_share) * (1.0 - shielded) ** 2
        supply = (burnable_g / self._char_reference_g) ** CHAR_SUPPLY if burnable_g < self._char_reference_g else 1.0
        rate_g_s = self._form.char_rate_g_min * self._burn.char_factor / 60.0 * reach * cooled * supply
        return min(burnable_g, rate_g_s * dt_s)
