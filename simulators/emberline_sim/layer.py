"""Fuel put on at one time, and the front of pyrolysis that runs down through it.

The layer is cut into columns. In each the front runs down at its own pace and turns moist fuel into char, at once, and
into volatiles (with the steam of the moisture), which leave the particles over the time that their size needs.
"""

import math

import numpy as np

from emberline_sim.forms import FuelForm
from emberline_sim.trial_specs import FuelSpec

COLUMNS = 20
LAST_SHARE = 0.08
"""The front slows over the last of a column, where the grate's edge and the ash take heat."""
LATENT_25C_J_G = 2443.0
"""Latent heat of water at 25 °C, the reference temperature of ISO 18125 (from memory)."""
REFERENCE_MOISTURE = 0.10
HEATING_DRY_J_G = 700.0
"""To bring a gram of dry wood to 500 °C, at 1.4 J/(g K)."""
DRYING_J_G = 3000.0
"""To warm, evaporate and superheat a gram of moisture."""


def volatiles_heat_j_g(lhv_dry_j_g: float, char_lhv_j_g: float, moisture_wet: float, char_yield: float) -> float:
    """Return the heat of what a moist fuel gives off, J per gram lost, when dry char of `char_yield` stays behind.

    Energy balance at constant composition: fuel's heat less char's heat less the drying of the moisture (2443 J/g, the
    latent heat at 25 °C, reference temperature of ISO 18125), over the mass that leaves.
    """
    dry = 1.0 - moisture_wet
    return (dry * (lhv_dry_j_g - char_yield * char_lhv_j_g) - LATENT_25C_J_G * moisture_wet) / (1.0 - dry * char_yield)


def moisture_pace(moisture_wet: float) -> float:
    """Return the front's pace relative to fuel of 10 % moisture: by the heat that drying and pyrolysis need."""

    def need(m: float) -> float:
        return (1.0 - m) * HEATING_DRY_J_G + m * DRYING_J_G

    return need(REFERENCE_MOISTURE) / need(moisture_wet)


class Layer:
    """Fuel put on at one time: columns of raw fuel, particles that give off volatiles."""

    def __init__(
        self,
        form: FuelForm,
        mass_g: float,
        moisture: float,
        fuel: FuelSpec,
        rate_g_s: float,
        ramp_s: float,
        delay_s: float,
        rng: np.random.Generator,
    ) -> None:
        """Lay moist fuel on the bed.

        Args:
            form: Its form.
            mass_g: Its moist mass.
            moisture: Mass of water over moist mass.
            fuel: Its heating values and yields.
            rate_g_s: What the front consumes when fully grown.
            ramp_s: Time that the fire needs to spread over it.
            delay_s: Time before it catches at all.
            rng: Source of chance for the columns.
        """
        char_yield = form.char_yield if fuel.char_yield is None else fuel.char_yield
        share = np.clip(rng.normal(1.0, 0.5 * form.unevenness, COLUMNS), 0.6, 1.4)
        pace = np.clip(rng.normal(1.0, form.unevenness, COLUMNS), 0.5, 1.8)
        self.raw_g = [float(m) for m in mass_g * share / share.sum()]
        self._full_g = mass_g / COLUMNS
        self._pace = [float(p) for p in pace / pace.mean()]
        self._catch_s = sorted(float(u) for u in delay_s + 0.6 * ramp_s * rng.random(COLUMNS))
        self._grow_s = 0.35 * ramp_s
        self.rate_g_s = rate_g_s
        self._particle_s = form.particle_s
        self._char_share = (1.0 - moisture) * char_yield
        self.volatile_share = 1.0 - self._char_share
        self.heat_j_g = volatiles_heat_j_g(fuel.lhv_dry_j_g, fuel.char_lhv_j_g, moisture, char_yield)
        self.ash_g = (1.0 - moisture) * fuel.ash_fraction * mass_g
        self.age_s = 0.0
        self.young_g = 0.0
        self.old_g = 0.0

    def demand_g_s(self) -> float:
        """Nominal consumption of the columns that still hold raw fuel."""
        return self.rate_g_s * sum(1 for m in self.raw_g if m > 0.0) / COLUMNS

    def step(self, dt_s: float, pace: float, breath: float) -> tuple[float, float]:
        """Advance; return the volatiles that left and the char that formed, g."""
        self.age_s += dt_s
        reached = 0.0
        full = self.rate_g_s / COLUMNS * pace * dt_s
        for i, raw in enumerate(self.raw_g):
            since_s = self.age_s - self._catch_s[i]
            if raw <= 0.0 or since_s <= 0.0:
                continue
            grown = 1.0 - math.exp(-since_s / self._grow_s) if since_s < 10.0 * self._grow_s else 1.0
            fading = min(1.0, 0.15 + raw / (LAST_SHARE * self._full_g))
            eaten = min(raw, full * self._pace[i] * grown * fading)
            self.raw_g[i] = raw - eaten
            reached += eaten
        leave = 1.0 - math.exp(-2.0 * breath * dt_s / self._particle_s)
        out = self.old_g * leave
        moved = self.young_g * leave
        self.old_g += moved - out
        self.young_g += reached * self.volatile_share - moved
        return out, reached * self._char_share
