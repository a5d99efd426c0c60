"""The gas above the bed: draught, the flame that lives on it or not, and the hot gas that meets pot and probe."""

import math
from dataclasses import dataclass

import numpy as np

CP_J_GK = 1.15
CHAR_GLOW_SHARE = 0.25
"""Share of glowing char's heat that leaves with the gas rather than through the wall or as carbon monoxide."""
GLOWS_K = 880.0
"""Char must glow like this to light its gas (piloted by hot spots: orange heat; common practice, no source)."""
PILOTED = 0.4
"""Share of the critical flux from which on a lighter's flame becomes one of the fuel: it spreads from one corner."""
REKINDLES = 1.5
"""Gas must be so much richer to catch from glowing char than a flame that burns already needs."""
SEEN_S = 1.5
"""A flame takes so long to notice that its gas has changed."""


@dataclass(frozen=True, slots=True)
class Burner:
    """The flame's habits.

    Attributes:
        critical_g_m2s: Combustible volatiles per area of bed below which no flame holds. Published critical mass fluxes
            of wood lie between 1 and 4 g/(m2 s) (Drysdale, An Introduction to Fire Dynamics, section 6.3; Lyon and
            Quintiere, Combust. Flame 151 (2007) 551; from memory); hot secondary air keeps stoves at the lower end.
        hesitation_s: Mean time that a flame below that flux takes to go out.
        rekindling_s: Mean time that gas above it takes to catch from glowing char.
        gas_g_s: Gas, secondary air included, at full draught.
        gust_m_s: A wind at which the critical flux doubles.

    """

    critical_g_m2s: float
    hesitation_s: float
    rekindling_s: float
    gas_g_s: float
    gust_m_s: float


class Gas:
    """Draught and flame, stepped together; temperatures in °C."""

    def __init__(self, burner: Burner, area_m2: float, air_c: float, rng: np.random.Generator) -> None:
        """All is cold and dark."""
        self._burner, self._area_m2, self._air_c, self._rng = burner, area_m2, air_c, rng
        self.flame = False
        self.flux_g_m2s = 0.0
        self.hot_c = self.stack_c = self.wall_c = air_c

    @property
    def pull(self) -> float:
        """Draught relative to that of a stack 600 K above the air: as the square root of its excess."""
        return math.sqrt(min(1.3, max(0.0, self.stack_c - self._air_c) / 600.0))

    @property
    def flow_g_s(self) -> float:
        """Gas that passes."""
        return self._burner.gas_g_s * (0.22 + 0.78 * self.pull)

    def step(
        self, dt_s: float, fuel_g_s: float, heat_w: float, char_w: float, char_k: float, starter: bool, lighter: bool,
        cold_g: float,
        gust_m_s: float,
    ) -> float:  # fmt: skip
        """Advance by `dt_s`; return the power of the visible flame, W.

        Args:
            dt_s: Length of the step.
            fuel_g_s: Combustible volatiles and starter.
            heat_w: Their heat.
            char_w: Heat of glowing char.
            char_k: Its temperature.
            starter: Whether starter burns: that is a flame.
            lighter: Whether a lighter is held to it: that is none yet, but lights what can burn.
            cold_g: Cold fuel in the way.
            gust_m_s: Wind.

        """
        burner = self._burner
        self.flux_g_m2s += (fuel_g_s / self._area_m2 - self.flux_g_m2s) * (1.0 - math.exp(-dt_s / SEEN_S))
        hindrance = 1.0 + (gust_m_s / burner.gust_m_s) ** 2 + min(1.0, 0.006 * cold_g)
        richness = self.flux_g_m2s / (burner.critical_g_m2s * hindrance)
        pilot = starter or (lighter and richness > PILOTED)
        if self.flame:
            # The leaner, the likelier that the last tongue of flame goes out; well above the limit it never does.
            risk = min(30.0, richness**-10.0) if richness > 0.5 else 30.0
            risk = risk if richness < 1.5 else 0.0
            self.flame = pilot or self._rng.random() > 1.0 - math.exp(-risk * dt_s / burner.hesitation_s)
        else:
            hot = char_k > GLOWS_K and richness > REKINDLES
            chance = 1.0 - math.exp(-dt_s * min(6.0, richness) / burner.rekindling_s)
            self.flame = pilot or (hot and self._rng.random() < chance)
        flame_w = heat_w if self.flame else 0.0
        gas_w = 0.80 * flame_w + CHAR_GLOW_SHARE * char_w
        settles_c = self._air_c + gas_w / (self.flow_g_s * CP_J_GK)
        settles_c += 0.15 * max(0.0, self.wall_c - self._air_c)
        self.hot_c += (min(settles_c, 1250.0) - self.hot_c) * (1.0 - math.exp(-dt_s / 2.0))
        self.stack_c += (self.hot_c - self.stack_c) * (1.0 - math.exp(-dt_s / 20.0))
        self.wall_c += (0.45 * (self.hot_c - self._air_c) + self._air_c - self.wall_c) * (1.0 - math.exp(-dt_s / 420.0))
        return flame_w
