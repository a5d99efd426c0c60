"""A stove with a pot whose fuel and water are known second by second: for tests of what tells the two apart.

Half a litre of water warms on a share of the fuel's heat, loses steam by the vapour-pressure law on the way, and boils
the same share away afterwards. No sensor has a lag or a drift; the load cell has white noise.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import Place
from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import FuelPlan, Plan, PotPlan, VisitPlan
from emberline.bench.samples import Curve
from emberline.curves.burning_rate import LossRate, smooth
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import grid_of
from emberline.curves.loads import tell_apart
from emberline.curves.mass_steps import find_steps, masked
from emberline.heat.account import Account
from emberline.heat.ledger import build_account
from emberline.heat.scale import Scale, scale_of
from emberline.heat.stay_seen import PotCurves
from emberline.heat.water_course import WaterCourse, told_apart

Array = NDArray[np.float64]

LATENT_J_G, HEAT_J_GK = 2257.0, 4.19
STOVE_G = 640.0
BOILING_C = 99.31
"""At 200 m in a standard atmosphere (IAPWS R7-97 and ISO 2533)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stove:
    """One burn; change what a test needs.

    Attributes:
        n: Seconds of the record.
        lit_s: When it is lit.
        flameout_s: When the last flame goes out: the rate passes 15 % of its level.
        level_g_s: Loss of fuel while flaming.
        share: Grams of steam that a gram of fuel can raise.
        pot_on_s: When the pot is set down; None without a pot.
        pot_off_s: When it is lifted; None where it never is.
        water_g: Water in it at first.
        noise_g: Of the load cell, a sample.
        hz: Samples a second.
        seed: Of the noise.
    """

    n: int = 1500
    lit_s: float = 80.0
    flameout_s: float = 1050.0
    level_g_s: float = 0.16
    share: float = 1.7
    fuel_g: float = 190.0
    pot_on_s: float | None = 200.0
    pot_off_s: float | None = 800.0
    water_g: float = 500.0
    tare_g: float = 300.0
    pot_j_k: float = 150.0
    evaporation_g_s: float = 0.05
    char_g_s: float = 0.012
    noise_g: float = 0.1
    hz: int = 4
    seed: int = 1

    @property
    def t_s(self) -> Array:
        return np.arange(self.n, dtype=np.float64) + 0.5

    @property
    def fuel_rate_g_s(self) -> Array:
        """Loss of the fuel: kindling for 90 s, an even flame, a fall over a minute, glowing char."""
        level, char = self.level_g_s, self.char_g_s
        # The straight fall passes 15 % of the level at flameout.
        begins = self.flameout_s - 60.0 * (0.85 * level) / (level - char)
        moments = [self.lit_s, self.lit_s + 90.0, begins, begins + 60.0]
        return np.where(self.t_s < self.lit_s, 0.0, np.interp(self.t_s, moments, [0.0, level, level, char]))

    @property
    def water_c(self) -> Array:
        """Temperature of the water, second by second."""
        return self._course[0]

    @property
    def water_rate_g_s(self) -> Array:
        """Loss of the water on the stove."""
        return self._course[1]

    @property
    def boil_s(self) -> float:
        """When the water is within 0.2 K of its boiling point (common practice, no source: it arrives ever slower)."""
        return float(np.argmax(self.water_c >= BOILING_C - 0.2))

    @property
    def load_g(self) -> Array:
        """What truly stands on the cell."""
        load = STOVE_G + self.fuel_g - np.cumsum(self.fuel_rate_g_s)
        if self.pot_on_s is not None:
            stands = self._stands()
            load = load + np.where(stands, self.tare_g + self.water_g - np.cumsum(self.water_rate_g_s), 0.0)
        return np.asarray(load)

    def evaporated_g(self, until_s: float | None = None) -> float:
        """Return the water lost from the stove, in all or by a moment."""
        rate = self.water_rate_g_s
        return float(np.sum(rate if until_s is None else rate[self.t_s < until_s]))

    def burnt_g(self, a_s: float, b_s: float) -> float:
        """Return the fuel lost between two moments."""
        return float(np.sum(self.fuel_rate_g_s[(self.t_s >= a_s) & (self.t_s < b_s)]))

    def curves(self) -> dict[Role, Curve]:
        """Return what the bench delivers: load cell, water probe, flame probe."""
        rng = np.random.default_rng(self.seed)
        t_s = (np.arange(self.n * self.hz) + 0.5) / self.hz
        second = t_s.astype(np.int64)
        mass = self.load_g[second] + rng.normal(0.0, self.noise_g, len(t_s))
        water = self.water_c[second] + rng.normal(0.0, 0.05, len(t_s))
        burns = (t_s > self.lit_s) & (t_s < self.flameout_s)
        flame = np.where(burns, 620.0 + rng.normal(0.0, 25.0, len(t_s)), 18.0)
        since = np.maximum(t_s - self.flameout_s, 0.0)
        glow = 380.0 + 240.0 * np.exp(-since / 4.0) + rng.normal(0.0, 3.0, len(t_s))
        flame = np.where(t_s >= self.flameout_s, glow, flame)
        return {
            Role.MASS: Curve(t_s, mass),
            Role.WATER: Curve(t_s, water),
            Role.FLAME: Curve(t_s, flame),
        }

    def plan(self, **pot: UFloat | None) -> Plan:
        """Return the plan of a person who weighed fuel, pot and water; `pot` changes what is said of the water."""
        fuel = FuelPlan(
            mass_g=ufloat(self.fuel_g, 0.5, tag="fuel.mass_g"),
            moisture_wet=ufloat(0.1, 0.01, tag="fuel.moisture_wet"),
            lhv_dry_j_g=ufloat(18_400.0, 300.0, tag="fuel.lhv_dry_j_g"),
        )
        place = Place(altitude_m=ufloat(200.0, 10.0))
        if self.pot_on_s is None:
            return Plan(label="stove", fuel=fuel, place=place)
        said = {"water_g": ufloat(self.water_g, 0.5, tag="pot.water_g"), **pot}
        stood = PotPlan(
            tare_g=ufloat(self.tare_g, 0.5, tag="pot.tare_g"),
            heat_capacity_j_k=ufloat(self.pot_j_k, 10.0, tag="pot.heat_capacity_j_k"),
            every=VisitPlan(**said),
        )
        return Plan(label="stove", fuel=fuel, pot=stood, place=place)

    def _stands(self) -> NDArray[np.bool_]:
        on_s = np.inf if self.pot_on_s is None else self.pot_on_s
        off_s = np.inf if self.pot_off_s is None else self.pot_off_s
        return np.asarray((self.t_s > on_s) & (self.t_s < off_s))

    @cached_property
    def _course(self) -> tuple[Array, Array]:
        """Temperature and loss of the water, step by step."""
        fuel, stands = self.fuel_rate_g_s.tolist(), self._stands().tolist()
        water_c, rate = np.full(self.n, 18.0), np.zeros(self.n)
        now_c, left_g = 18.0, self.water_g
        for i in range(self.n):
            if stands[i]:
                char = 1.3 if i + 0.5 > self.flameout_s else 1.0
                heat_g_s = self.share * char * fuel[i]  # as the steam it could raise
                boils = now_c >= BOILING_C - 1e-6
                rate[i] = heat_g_s if boils else min(self.evaporation_g_s * _drive(now_c), 0.8 * heat_g_s)
                if not boils:
                    warmed = (heat_g_s - rate[i]) * LATENT_J_G / (left_g * HEAT_J_GK + self.pot_j_k)
                    now_c = min(now_c + warmed, BOILING_C)
                left_g -= rate[i]
            elif self.pot_off_s is not None and i > self.pot_off_s:
                now_c = 20.0 + (now_c - 20.0) * np.exp(-1.0 / 900.0)
            water_c[i] = now_c
        return water_c, rate


def _drive(t_c: float) -> float:
    """Vapour-pressure law with Stefan flow, on the Magnus formula (Sonntag, from memory) instead of the host's."""
    p_s = 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))
    p = 98_950.0
    return float(np.log((p - 1_200.0) / max(p - p_s, 0.03 * p)))


@dataclass(frozen=True, eq=False)
class Told:
    """A stove's record told apart, with lighting, boil and flameout as they truly were.

    Attributes:
        scale: The load cell.
        pot: What is measured of the pot.
        events: All events.
        courses: The water of every stay.
        fuel: The fuel's own mass and burning rate.
        account: The account.
    """

    scale: Scale
    pot: PotCurves
    events: tuple[Event, ...]
    courses: tuple[WaterCourse, ...]
    fuel: LossRate
    account: Account


def told(stove: Stove, plan: Plan | None = None) -> Told:
    """Tell fuel from water on a stove's record."""
    plan = stove.plan() if plan is None else plan
    grid = grid_of(stove.curves())
    mass, water = grid.columns[Role.MASS], grid.columns[Role.WATER]
    steps = find_steps(mass)
    bare = masked(mass, steps)
    loads = tell_apart(steps, plan, stove.lit_s)
    scale = scale_of(smooth(bare), loads, default_channel(Role.MASS))
    known = [Event(EventKind.LIT, stove.lit_s, 1.0, "known"), Event(EventKind.FLAMEOUT, stove.flameout_s, 5.0, "known")]
    if stove.pot_on_s is not None:
        known.append(Event(EventKind.BOIL, stove.boil_s, 1.0, "known"))
    events = tuple(sorted((*loads.events, *known), key=lambda event: event.t_s))
    pot = PotCurves(water.value, default_channel(Role.WATER), ufloat(BOILING_C, 0.3))
    courses, fuel = told_apart(bare, scale, pot, plan, events)
    return Told(scale, pot, events, courses, fuel, build_account(scale, fuel, courses, pot, plan, events, grid.n))
