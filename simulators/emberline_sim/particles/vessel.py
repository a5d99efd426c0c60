"""The pot: a metal wall under a column of water in layers, which stirs itself, bubbles, steams and leaks heat.

The wall gives heat to the lowest layer by convection and, once hotter than the boiling point, by bubbles. Bubbles die
in water that is colder than they are; the nearer it is to boiling, the more of them reach the top as steam. So the
ramp bends into the plateau, and a pot that gets little heat may hang below it.
"""

import math
from dataclasses import dataclass

from emberline_sim.air import boiling_point_c, latent_heat_j_g, saturation_pressure_pa

WATER_J_GK = 4.186
LAYERS = 5
STEFAN_BOLTZMANN = 5.670374419e-8
NUCLEATE_W_M2K3 = 110.0
"""Heat flux of bubbles per cube of the wall's excess: some 100 kW/m2 at 10 K (pool boiling curve of water: Incropera,
Fundamentals of Heat and Mass Transfer, section 10.3, from memory)."""
STEAM_HALF = 0.5
"""Water boils from when on more heat leaves it as bubbles of steam than goes on warming it. Where bubbles die over a
subcooling that is small beside the ramp, that is where ramp and plateau, drawn on, meet."""
LEAST_STEAM = 0.15
"""A few bubbles are no boil: they must take this share of the heat that the water gets."""
STEAM_SUSTAINED_S = 12.0
SHARE_S = 0.7
"""Over so long the share of steam is averaged: bubbles come singly."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """The pot.

    Attributes:
        tare_g: Empty.
        metal_j_k: Heat capacity.
        diameter_m: Of base and water surface.
        lid_g: Mass of the lid; 0 without one.
        transfer_units: Of hot gas passing base and wall; sets the share of its heat that it leaves there.
        view: Share of the bed's radiation that meets the base.
        leak_w_k: Loss of wall and rim.
        air_w_m2k: Heat transfer between surface and air in still air.
        bubble_k: Subcooling over which bubbles die.

    """

    tare_g: float
    metal_j_k: float
    diameter_m: float
    lid_g: float
    transfer_units: float
    view: float
    leak_w_k: float
    air_w_m2k: float
    bubble_k: float


class Filling:
    """The pot with water in it. Its account: `taken_j` = rise of the metal + `sensible_j` + `latent_j` + `lost_j`."""

    def __init__(self, vessel: Vessel, water_g: float, water_c: float, pressure_pa: float, damp_pa: float) -> None:
        """Pour water in; `damp_pa` is the vapour pressure of the air."""
        self._vessel, self._pressure_pa, self._damp_pa = vessel, pressure_pa, damp_pa
        self.boiling_c = boiling_point_c(pressure_pa)
        self._latent_boiling = latent_heat_j_g(self.boiling_c)
        self.area_m2 = 0.25 * math.pi * vessel.diameter_m**2
        self.water_g = water_g
        self.layers_c = [water_c] * LAYERS
        self.wall_c = self._start_c = water_c
        self.lid = False
        self.taken_j = self.sensible_j = self.latent_j = self.lost_j = self.evaporated_g = 0.0
        self.steam_share = 0.0
        self.bubbling = 0.0

    @property
    def bulk_c(self) -> float:
        """Mean temperature."""
        return sum(self.layers_c) / LAYERS

    @property
    def metal_j(self) -> float:
        """Heat in the metal above its start."""
        return self._vessel.metal_j_k * (self.wall_c - self._start_c)

    def intake_w(
        self, gas_c: float, flow_g_s: float, char_k: float, bed_m2: float, flame_w: float, wind: float
    ) -> float:
        """Return the heat flow into the wall from passing gas, from the flame's and the glowing bed's radiation."""
        vessel = self._vessel
        passed = 1.0 - math.exp(-vessel.transfer_units)
        convected = flow_g_s * 1.15 * passed * (gas_c - self.wall_c) * math.exp(-0.11 * wind)
        glow = STEFAN_BOLTZMANN * bed_m2 * vessel.view * (char_k**4 - (self.wall_c + 273.15) ** 4)
        return convected + max(0.0, glow) + 0.06 * flame_w

    def step(self, dt_s: float, intake_w: float, air_c: float, wind_m_s: float) -> None:
        """Advance by `dt_s`, at most 1 s."""
        if self.water_g < 15.0:
            self.steam_share = 0.0
            return
        vessel, layers = self._vessel, self.layers_c
        layer_j_k = self.water_g * WATER_J_GK / LAYERS
        bottom_c, bulk_c = layers[0], self.bulk_c
        film_w_k = 950.0 * (1.0 + 0.4 * self.bubbling) * 1.35 * self.area_m2
        nucleate_w_k = NUCLEATE_W_M2K3 * max(0.0, self.wall_c - self.boiling_c) ** 2 * self.area_m2
        leak_w_k = vessel.leak_w_k * (1.0 + 0.35 * wind_m_s)
        held = vessel.metal_j_k / dt_s
        wall_c = held * self.wall_c + intake_w + film_w_k * bottom_c + nucleate_w_k * self.boiling_c + leak_w_k * air_c
        wall_c /= held + film_w_k + nucleate_w_k + leak_w_k
        self.wall_c = wall_c
        convected_j = film_w_k * (wall_c - bottom_c) * dt_s
        bubbles_j = nucleate_w_k * (wall_c - self.boiling_c) * dt_s
        self.taken_j += intake_w * dt_s
        self.lost_j += leak_w_k * (wall_c - air_c) * dt_s
        before_j = self.sensible_j
        self.sensible_j += convected_j + bubbles_j
        layers[0] += convected_j / layer_j_k
        for i in range(LAYERS):
            layers[i] += bubbles_j / LAYERS / layer_j_k
        escaping = math.exp(-max(0.0, self.boiling_c - bulk_c) / vessel.bubble_k)
        power_w = max(0.0, convected_j + bubbles_j) / dt_s
        self.bubbling = bubbles_j / max(1.0, convected_j + bubbles_j)
        self._stir(dt_s, power_w)
        self._skin(dt_s, air_c, wind_m_s)
        steam_j = max(0.0, bubbles_j) * escaping
        for i in range(LAYERS):
            # Water cannot stay hotter than its boiling point: what is over becomes steam too.
            steam_j += max(0.0, layers[i] - steam_j / LAYERS / layer_j_k - self.boiling_c) * layer_j_k
        self._give_off(steam_j / self._latent_boiling, self._latent_boiling)
        warming_j = max(0.0, self.sensible_j - before_j)
        boils = steam_j > LEAST_STEAM * power_w * dt_s and power_w > 20.0
        share = steam_j / (steam_j + warming_j) if boils else 0.0
        self.steam_share += (min(1.0, share) - self.steam_share) * (1.0 - math.exp(-dt_s / SHARE_S))

    def _stir(self, dt_s: float, power_w: float) -> None:
        """Let warm water rise: eddies as deep as the water, at Deardorff's convective velocity, faster with bubbles."""
        layers = self.layers_c
        depth_m = self.water_g * 1e-6 / self.area_m2
        flux_k_m_s = max(power_w, 15.0) / self.area_m2 / 4.18e6
        eddy_m_s = math.cbrt(9.81 * 4.5e-4 * flux_k_m_s * depth_m) * (1.0 + 2.0 * self.bubbling)
        # Warm water on top of cold stays there, unless bubbles drive it down.
        turns_over = 1.0 if layers[0] > layers[-1] else 0.03 + 0.5 * self.bubbling
        share = 1.0 - math.exp(-eddy_m_s * dt_s / depth_m * turns_over)
        mean_c = self.bulk_c
        for i in range(LAYERS):
            layers[i] += share * (mean_c - layers[i])

    def _skin(self, dt_s: float, air_c: float, wind_m_s: float) -> None:
        """Evaporate from the surface: Dalton's law, the Lewis relation, the vapour's own flow in the mean pressure."""
        top_c = self.layers_c[-1]
        h_w_m2k = self._vessel.air_w_m2k * (1.0 + 0.45 * wind_m_s)
        at_surface = min(saturation_pressure_pa(top_c), 0.97 * self._pressure_pa)
        mean_air_pa = self._pressure_pa - 0.5 * (at_surface + self._damp_pa)
        flux = h_w_m2k / 1.007 / 0.90 * 0.622 * (at_surface - self._damp_pa) / mean_air_pa
        steam_g = max(0.0, flux) * self.area_m2 * dt_s * (0.06 if self.lid else 1.0)
        self._give_off(steam_g, latent_heat_j_g(top_c), top_only=True)
        cooling_j = h_w_m2k * self.area_m2 * (top_c - air_c) * dt_s * (0.5 if self.lid else 1.0)
        self.layers_c[-1] -= cooling_j / (self.water_g * WATER_J_GK / LAYERS)
        self.sensible_j -= cooling_j
        self.lost_j += cooling_j

    def _give_off(self, steam_g: float, latent_j_g: float, *, top_only: bool = False) -> None:
        heat_j = steam_g * latent_j_g
        layer_j_k = self.water_g * WATER_J_GK / LAYERS
        if top_only:
            self.layers_c[-1] -= heat_j / layer_j_k
        else:
            for i in range(LAYERS):
                self.layers_c[i] -= heat_j / LAYERS / layer_j_k
        self.latent_j += heat_j
        self.sensible_j -= heat_j
        self.water_g -= steam_g
        self.evaporated_g += steam_g
