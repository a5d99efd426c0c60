"""The pot and its water: heating, evaporation below boiling, the boil, losses.

Three nodes: metal, lower water, upper water. Heat enters the metal; convection carries it up as soon as the lower water
is warmer. Steam leaves the surface by the vapour-pressure law; what heats the water beyond the local boiling point
becomes steam at once. The account (`taken_j` = metal + `sensible_j` + `latent_j` + `lost_j`) closes exactly.
"""

import math

from emberline_sim.air import boiling_point_c, evaporation_flux_g_m2s, latent_heat_j_g
from emberline_sim.trial_specs import PotSpec, VisitSpec

HEAT_CAPACITY_J_GK = 4.186
LOWER_SHARE = 0.6
BASE_SHARE = 0.8
FLAME_ABOVE_AIR_C = 850.0
LID_LEAK = 0.07
"""Share of the steam of an open pot that gets past a lid that lies loose (common practice, no source)."""


class Pot:
    """One filling of the pot, on the stove or beside it."""

    def __init__(self, spec: PotSpec, visit: VisitSpec, pressure_pa: float, humidity: float) -> None:
        """Fill the pot with fresh water; the metal takes the water's temperature."""
        self._spec, self._pressure_pa, self._humidity = spec, pressure_pa, humidity
        self.boiling_c = boiling_point_c(pressure_pa)
        self.surface_m2 = math.pi / 4.0 * spec.diameter_m**2
        self.lid = spec.lid
        self._lower_g = LOWER_SHARE * visit.water_g
        self._upper_g = visit.water_g - self._lower_g
        self.lower_c = self.upper_c = self.metal_c = visit.water_c
        self._start_c = visit.water_c
        self.boiling = False
        self.taken_j = self.sensible_j = self.latent_j = self.lost_j = 0.0
        self.evaporated_g = 0.0

    @property
    def water_g(self) -> float:
        """Water left."""
        return self._lower_g + self._upper_g

    @property
    def bulk_c(self) -> float:
        """Mean temperature of the water."""
        return (self._lower_g * self.lower_c + self._upper_g * self.upper_c) / max(self.water_g, 1e-9)

    @property
    def metal_j(self) -> float:
        """Heat that the metal holds above its start."""
        return self._spec.heat_capacity_j_k * (self.metal_c - self._start_c)

    def intake_w(self, flame_w: float, char_w: float, body_c: float, ambient_c: float, wind_m_s: float) -> float:
        """Return the heat flow into the metal from flame, glowing char and the stove's hot body.

        Convection falls as the metal nears the gas; wind blows the flame away from the pot.
        """
        spec = self._spec
        driving = max(0.0, 1.0 - (self.metal_c - ambient_c) / FLAME_ABOVE_AIR_C)
        sheltered = math.exp(-0.13 * wind_m_s)
        from_gas = (spec.coupling * flame_w + spec.char_coupling * char_w) * driving * sheltered
        return from_gas + 0.12 * max(0.0, body_c - self.metal_c)

    def step(self, dt_s: float, intake_w: float, ambient_c: float, wind_m_s: float) -> None:
        """Advance by `dt_s` (at most 1 s)."""
        if self.water_g < 1.0:
            return
        spec = self._spec
        self.taken_j += intake_w * dt_s
        # The rougher the flow, the better the base gives off its heat: natural convection, then bubbles.
        film_w_k = (900.0 if self.lower_c < 0.85 * self.boiling_c else 1700.0) * self.surface_m2 * 1.6
        give = 1.0 - math.exp(-film_w_k * dt_s / spec.heat_capacity_j_k)
        self.metal_c += intake_w * dt_s / spec.heat_capacity_j_k
        to_base_j = BASE_SHARE * give * spec.heat_capacity_j_k * (self.metal_c - self.lower_c)
        to_wall_j = (1.0 - BASE_SHARE) * give * spec.heat_capacity_j_k * (self.metal_c - self.upper_c)
        self.metal_c -= (to_base_j + to_wall_j) / spec.heat_capacity_j_k
        loss_j = spec.loss_w_k * (1.0 + 0.3 * wind_m_s) * (self.upper_c - ambient_c) * dt_s
        self.lost_j += loss_j
        mixing_w_k = 0.35 * self.water_g if self.lower_c >= self.upper_c else 0.02 * self.water_g
        rise_j = min(mixing_w_k * dt_s, 0.4 * HEAT_CAPACITY_J_GK * self._upper_g) * (self.lower_c - self.upper_c)
        self._warm_lower(to_base_j - rise_j)
        self._warm_upper(rise_j + to_wall_j - loss_j)
        self._evaporate(dt_s, ambient_c, wind_m_s)
        self._boil()

    def _warm_lower(self, heat_j: float) -> None:
        self.lower_c += heat_j / (HEAT_CAPACITY_J_GK * self._lower_g)
        self.sensible_j += heat_j

    def _warm_upper(self, heat_j: float) -> None:
        self.upper_c += heat_j / (HEAT_CAPACITY_J_GK * self._upper_g)
        self.sensible_j += heat_j

    def _evaporate(self, dt_s: float, ambient_c: float, wind_m_s: float) -> None:
        air_w_m2k = self._spec.air_w_m2k * (1.0 + 0.25 * wind_m_s)
        flux = evaporation_flux_g_m2s(self.upper_c, ambient_c, self._humidity, self._pressure_pa, air_w_m2k)
        share = LID_LEAK if self.lid else 1.0
        self._steam(min(flux * self.surface_m2 * share * dt_s, 0.01 * self.water_g))

    def _boil(self) -> None:
        excess_j = HEAT_CAPACITY_J_GK * self._lower_g * (self.lower_c - self.boiling_c)
        if excess_j > 0.0:
            # Bubbles from the base collapse in the upper water until that too is at the boiling point.
            self._warm_lower(-excess_j)
            self._warm_upper(excess_j)
        excess_j = HEAT_CAPACITY_J_GK * self._upper_g * (self.upper_c - self.boiling_c)
        self.boiling = excess_j > 0.0
        if self.boiling:
            self._steam(excess_j / latent_heat_j_g(self.boiling_c))

    def _steam(self, steam_g: float) -> None:
        """Take steam and its latent heat out of the upper water, then level the layers."""
        heat_j = steam_g * latent_heat_j_g(self.upper_c)
        self.latent_j += heat_j
        self._warm_upper(-heat_j)
        self._upper_g -= steam_g
        self.evaporated_g += steam_g
        moved_g = self._lower_g - LOWER_SHARE * self.water_g
        self._upper_g += moved_g
        self._lower_g -= moved_g
        self.upper_c += moved_g * (self.lower_c - self.upper_c) / self._upper_g
