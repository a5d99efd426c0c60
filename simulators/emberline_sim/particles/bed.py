"""A bed of fuel parcels, each of which warms, dries, pyrolyses and glows by itself.

There is no front in this model: parcels that pyrolyse burn some of their gas in the primary air, and their neighbours,
mostly those below, take up a share of that heat. A front that runs down, lingers, branches and ends raggedly is what
comes of it. Mass and chemical energy are conserved exactly.
"""

import math

import numpy as np
from numpy.typing import NDArray

from emberline_sim.particles.fuel import LATENT_25C_J_G, TABLE_K, Charge, Hearth, Nature, Outflow, pyrolysis_tables

PARCELS = 260
AIR_J_G = 3040.0
"""Heat of burning organic matter per gram of air: 13.1 kJ per gram of oxygen (Huggett, Fire and Materials 4, 1980)."""
AIR_FOR_CHAR_G = 7.0
"""Air for a gram of char: 5.8 to carbon monoxide, 11.5 to carbon dioxide (stoichiometry)."""
DRYING_J_G = 2750.0
"""To evaporate bound water and superheat its steam by some 150 K (handbook values)."""
WOOD_J_GK, CHAR_J_GK, WATER_J_GK = 1.7, 1.2, 4.19
FRONT_K = 1180.0
"""Temperature of the gas at the front (950 to 1050 °C: measured in a household gasifier's oxidation layer)."""
DIFFUSIVITY_M2_S = 1.6e-7
"""Thermal diffusivity of wood across the grain (handbook: 1.2e-7 to 2e-7)."""
UP_SHARE = 0.35
LOOK_STEPS = 6
EMBER_S = 25.0
EAGERNESS = 3.0
CHAR_ACTIVATION_K = 9000.0
"""Char oxidation: activation temperature of Evans and Emmons, Fire Research 1 (1977) (from memory)."""
RISING_SHARE = 0.5
GAS_J_GK = 1.15
CONTACT_W_K = 0.006
"""From glowing char to a gram of raw fuel that lies in it: a twentieth of what its whole surface would take up by
radiation at 900 K, since it sees only its neighbours and shields itself with its own gas."""
SNUFFED_S = 400.0
"""Smothered char cools over this time (common practice, no source)."""
STEFAN_BOLTZMANN = 5.670374419e-8


class Bed:
    """The fuel in the chamber."""

    def __init__(self, nature: Nature, hearth: Hearth, charge: Charge, air_k: float, rng: np.random.Generator) -> None:
        """Fill the chamber; all is at air temperature `air_k`."""
        self._nature, self._hearth, self._air_k, self._rng = nature, hearth, air_k, rng
        self._rate_1_s, self._to_char = pyrolysis_tables(nature.char_bias)
        empty = np.zeros(0)
        self._x = self._y = self._z = self._size = empty
        self.water_g = self.wood_g = self.char_g = self.ash_g = self.temperature_k = empty
        self._water0 = self._wood0 = self._char_born = self._lag_s = self._ember_g_s = empty
        self._per_mass = PARCELS / charge.mass_g
        self._spacing_m = math.cbrt(charge.mass_g / charge.bulk_g_m3 / PARCELS)
        self._charges = 0
        self.char_k = air_k
        self._top_m = 0.0
        self.snuffed = False
        self._look_in = 0
        self._risen_w = 0.0
        self.add(charge)

    def add(self, charge: Charge) -> None:
        """Put fuel on top of what is there."""
        rng = self._rng
        n = max(6, round(charge.mass_g * self._per_mass))
        height_m = charge.mass_g / charge.bulk_g_m3 / self._hearth.area_m2
        size = charge.size_m * np.exp(rng.normal(0.0, charge.size_spread, n))
        mass = rng.gamma(4.0, 1.0, n) * size / charge.size_m
        mass *= charge.mass_g / mass.sum()
        moisture = np.clip(rng.normal(charge.moisture_wet, charge.moisture_spread, n), 0.02, 0.6)
        # The mean is what a person would measure: that of the whole charge.
        moisture *= charge.moisture_wet * charge.mass_g / float(np.sum(moisture * mass))
        radius = 0.5 * self._hearth.bore_m * np.sqrt(rng.random(n))
        angle = rng.uniform(0.0, 2.0 * math.pi, n)
        wood = mass * (1.0 - moisture)
        top_m = float(self._z.min()) if len(self._z) else 0.0
        if self._charges:
            # Fresh fuel lies on the char, which has sunk to about half of its height.
            top_m = self._top_m

        def join(old: NDArray[np.float64], new: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.concatenate((old, new))

        self._x, self._y = join(self._x, radius * np.cos(angle)), join(self._y, radius * np.sin(angle))
        self._z = join(self._z, top_m - height_m * rng.random(n) if len(self._z) else height_m * rng.random(n))
        self._size = join(self._size, size)
        self.water_g, self._water0 = join(self.water_g, mass * moisture), join(self._water0, mass * moisture)
        self.wood_g, self._wood0 = join(self.wood_g, wood), join(self._wood0, wood)
        self.char_g, self._char_born = join(self.char_g, np.zeros(n)), join(self._char_born, np.zeros(n))
        self.ash_g = join(self.ash_g, np.zeros(n))
        self.temperature_k = join(self.temperature_k, np.full(n, self._air_k))
        self._ember_g_s = join(self._ember_g_s, np.zeros(n))
        self._lag_s = self._size**2 / (16.0 * DIFFUSIVITY_M2_S)
        self._top_m = float(self._z.min())
        self._charges += 1
        self._couple()

    def _couple(self) -> None:
        """Work out how much of one parcel's heat reaches another: a kernel of distance, mostly downward, uneven."""
        reach_m = np.maximum(0.8 * self._size, 0.75 * self._spacing_m)
        down = self._z[:, None] - self._z[None, :]
        along = np.where(down >= 0.0, np.exp(-down / reach_m[None, :]), UP_SHARE * np.exp(down / reach_m[None, :]))
        across2 = (self._x[:, None] - self._x[None, :]) ** 2 + (self._y[:, None] - self._y[None, :]) ** 2
        kernel = along * np.exp(-across2 / (3.0 * reach_m[None, :]) ** 2)
        kernel *= self._rng.gamma(2.0, 0.5, kernel.shape)
        kernel[np.diag_indices_from(kernel)] *= 0.4
        totals = kernel.sum(axis=0)
        self._kernel = kernel / np.maximum(totals, 0.6 * np.median(totals))[None, :]
        self._look_in = 0

    @property
    def fuel_g(self) -> float:
        """All that is left of the fuel."""
        return float(self.water_g.sum() + self.wood_g.sum() + self.char_g.sum() + self.ash_g.sum())

    @property
    def cold_g(self) -> float:
        """Fuel above the glowing bed that is still cold: it stands in the way of flame and gas."""
        if self._charges == 1:
            return 0.0
        cold = (self.temperature_k < 420.0) & (self._z < 0.0)
        return float((self.water_g + self.wood_g)[cold].sum())

    def unreached_g(self) -> float:
        """Moist fuel of the parcels of which less than 5 % has pyrolysed."""
        untouched = self.wood_g > 0.95 * self._wood0
        return float((self.water_g + self.wood_g)[untouched].sum())

    def unreached_dry_g(self) -> float:
        """Their dry mass."""
        return float(self.wood_g[self.wood_g > 0.95 * self._wood0].sum())

    def stored_j(self) -> float:
        """Heat that fuel and char could still give, less what their moisture will take."""
        nature = self._nature
        wood_j = float(self.wood_g.sum()) * nature.lhv_dry_j_g
        return wood_j + float(self.char_g.sum()) * nature.char_lhv_j_g - LATENT_25C_J_G * float(self.water_g.sum())

    def quench(self) -> None:
        """Chill the front, as water or a tight cover does."""
        self.temperature_k = np.minimum(self.temperature_k, 430.0)
        self._ember_g_s[:] = 0.0
        self.char_k = min(self.char_k, 560.0)

    def stir(self) -> None:
        """Poke the bed: parcels come to lie beside others, char falls on raw fuel."""
        self._x += self._rng.normal(0.0, 0.004, len(self._x))
        self._z += self._rng.normal(0.0, 0.003, len(self._z))
        self._couple()

    def spill(self, mass_g: float) -> float:
        """Scatter char off the bed; return how much it was."""
        have_g = float(self.char_g.sum())
        gone_g = min(mass_g, 0.3 * have_g)
        if gone_g > 0.0:
            self.char_g = self.char_g * (1.0 - gone_g / have_g)
        return gone_g

    def step(self, dt_s: float, air_g_s: float, pilot_w: float, flame_w: float) -> Outflow:
        """Advance by `dt_s`.

        Args:
            dt_s: Length of the step.
            air_g_s: Primary air.
            pilot_w: Heat that a starter or lighter puts into the uppermost raw fuel.
            flame_w: Power of the flame above, some of which shines back.

        """
        if self.snuffed:
            self.char_k += (self._air_k - self.char_k) * dt_s / SNUFFED_S
            return Outflow(0.0, 0.0, 0.0, 0.0, 0.0)
        nature = self._nature
        gas_g_s = float(self._ember_g_s.sum())
        if self._look_in == 0:
            self._choose()
            self._look_in = LOOK_STEPS
        self._look_in -= 1
        raw = self._raw
        offered_w = gas_g_s * 14000.0
        air_w = max(1e-9, air_g_s * AIR_J_G)
        used = 1.0 - math.exp(-EAGERNESS * offered_w / air_w)
        volatiles_g = steam_g = volatiles_j = self._taken_w = 0.0
        if len(raw):
            self._risen_w = RISING_SHARE * GAS_J_GK * (air_g_s + gas_g_s) * (self.char_k - self._air_k)
            heat_w = self._heat_w(raw, air_w * used, gas_g_s, pilot_w, flame_w)
            volatiles_g, steam_g, volatiles_j = self._convert(raw, heat_w, dt_s)
        glow_g = self._glow(dt_s, air_g_s * (self._hearth.bypass + (1.0 - self._hearth.bypass) * (1.0 - used)), used)
        return Outflow(volatiles_g, steam_g, glow_g, volatiles_j, glow_g * nature.char_lhv_j_g)

    def _choose(self) -> None:
        """Pick the parcels that can take part soon: raw ones that are hot, and those within reach of them."""
        raw = self.wood_g > 0.003 * self._wood0
        hot = raw & (self.temperature_k > self._air_k + 30.0)
        upper = self._z < (float(self._z[raw].min()) + 0.02 if raw.any() else 0.0)
        reached = (self._kernel[:, hot].sum(axis=1) > 1e-3) if hot.any() else np.zeros(len(raw), dtype=bool)
        raw |= self._ember_g_s > 1e-6
        taking_part = raw & (hot | upper | reached | (self._z < 0.0))
        self._raw = np.flatnonzero(taking_part)
        self._ember_g_s[~taking_part] = 0.0
        charred = (self.wood_g < 0.1 * self._wood0).astype(np.float64)
        touch = np.einsum("ij,j->i", self._kernel[self._raw], charred)
        beside = touch / np.maximum(self._kernel[self._raw].sum(axis=1), 1e-12)
        weight_g = (self._water0 + self._wood0)[self._raw]
        self._contact_w_k = CONTACT_W_K * beside * np.cbrt(weight_g * weight_g)
        self._near = np.ascontiguousarray(self._kernel[np.ix_(self._raw, self._raw)])

    def _heat_w(
        self, raw: NDArray[np.intp], bed_w: float, gas_g_s: float, pilot_w: float, flame_w: float
    ) -> NDArray[np.float64]:
        temperature, depth = self.temperature_k[raw], self._z[raw]
        heat = np.zeros(len(raw))
        if gas_g_s > 1e-7:
            # Not by a library of linear algebra, whose sums depend on its number of threads.
            near = np.einsum("ij,j->i", self._near, self._ember_g_s[raw])
            heat = near * (self._hearth.heat_share * bed_w / gas_g_s)
        touched = self._contact_w_k * np.maximum(self.char_k - temperature, 0.0)
        self._taken_w = float(touched.sum())
        heat += touched
        heat += self._from_below_w(depth)
        if pilot_w > 0.0:
            lies = np.exp(-(depth - depth.min()) / 0.005)
            heat += pilot_w * lies / max(lies.sum(), 4.0)
        top_m = self._top_m
        if flame_w > 0.0:
            # The flame shines on raw fuel only where no char lies between.
            lies = np.exp(-(depth - top_m) / 0.006)
            heat += 0.02 * flame_w * lies / max(lies.sum(), 8.0)
        return np.asarray(heat * np.clip((FRONT_K - temperature) / (FRONT_K - 300.0), 0.0, 1.0))

    def _from_below_w(self, depth: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the heat that fuel put on a fire gets from it: by rising gas, and from the glow that it lies on."""
        above = depth < 0.0
        if self._risen_w < 1.0 or not above.any():
            return np.zeros(len(depth))
        height_m = float(depth[above].max()) - depth
        rises = above * np.exp(-height_m / 0.03)
        lies = above * np.exp(-height_m / 0.010)
        glow_w = 0.5 * STEFAN_BOLTZMANN * self._hearth.area_m2 * max(0.0, self.char_k**4 - 700.0**4)
        glow_w *= min(1.0, float(lies.sum()) / 10.0)
        self._taken_w += 0.5 * glow_w
        return np.asarray(self._risen_w * rises / max(float(rises.sum()), 10.0) + glow_w * lies / float(lies.sum()))

    def _convert(self, raw: NDArray[np.intp], heat_w: NDArray[np.float64], dt_s: float) -> tuple[float, float, float]:
        nature = self._nature
        temperature, water, wood = self.temperature_k[raw], self.water_g[raw], self.wood_g[raw]
        wet = np.sqrt(water / np.maximum(self._water0[raw], 1e-9)) * np.clip((temperature - 345.0) / 30.0, 0.0, 1.0)
        dried = np.minimum(water, heat_w * wet * dt_s / DRYING_J_G)
        capacity = water * WATER_J_GK + wood * WOOD_J_GK + self.char_g[raw] * CHAR_J_GK
        cooled = (temperature - self._air_k) * (dt_s / (8.0 + 1.5 * self._lag_s[raw]) * 0.10)
        temperature = np.minimum(temperature + heat_w * (1.0 - wet) * dt_s / capacity - cooled, FRONT_K)
        index = ((temperature - TABLE_K[0]) * 0.5).astype(np.intp)
        rate = self._rate_1_s[index]
        rate = rate / (1.0 + rate * self._lag_s[raw])
        gone = wood * -np.expm1(-rate * dt_s)
        ash = nature.ash_fraction * gone
        char = (1.0 - nature.ash_fraction) * gone * self._to_char[index]
        self.temperature_k[raw], self.water_g[raw], self.wood_g[raw] = temperature, water - dried, wood - gone
        self.char_g[raw] += char
        self.ash_g[raw] += ash
        self._char_born[raw] += char
        gas = gone - ash - char
        self._ember_g_s[raw] += (gas / dt_s - self._ember_g_s[raw]) * (dt_s / EMBER_S)
        steam_g = float(dried.sum())
        energy_j = float(gone.sum()) * nature.lhv_dry_j_g - float(char.sum()) * nature.char_lhv_j_g
        return float(gas.sum()), steam_g, energy_j - LATENT_25C_J_G * steam_g

    def _glow(self, dt_s: float, air_g_s: float, used: float) -> float:
        nature, hearth = self._nature, self._hearth
        char_g = float(self.char_g.sum())
        if char_g < 0.05:
            return 0.0
        # Area law: each parcel's surface goes as the 2/3 power of its mass.
        surface = np.cbrt(self.char_g * self.char_g * self._char_born)
        warmth = math.exp(-CHAR_ACTIVATION_K * (1.0 / self.char_k - 1e-3))
        free = nature.glow_1_s * warmth * float(surface.sum())
        fed = air_g_s / AIR_FOR_CHAR_G
        rate = free * fed / (free + fed) if free + fed > 0.0 else 0.0
        burnt = np.minimum(self.char_g, surface * (rate * dt_s / max(float(surface.sum()), 1e-12)))
        self.char_g = self.char_g - burnt
        glow_g = float(burnt.sum())
        made_w = hearth.keeps * glow_g / dt_s * nature.char_lhv_j_g
        lost_w = 0.30 * STEFAN_BOLTZMANN * hearth.area_m2 * (self.char_k**4 - self._air_k**4)
        lost_w += (0.5 * air_g_s * 1.1 + 0.12) * (self.char_k - self._air_k) + self._taken_w
        heat_j_k = hearth.metal_j_k + CHAR_J_GK * char_g
        self.char_k += dt_s * ((made_w - lost_w) / heat_j_k + used * (1080.0 - self.char_k) / 50.0)
        self.char_k = min(1350.0, max(self._air_k, self.char_k))
        return glow_g
