"""Forecasts while a fire burns: when the water will boil, and when the flame will die.

Each is a time with its standard uncertainty, or the reason why none can be given. They are aids to a person who waits,
and no result rests on them.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.water import heat_capacity_j_gk, latent_heat_j_g
from emberline.heat.evaporation import sub_boiling_coefficient, vapour_drive
from emberline.heat.result import COVERAGE_95

RAMP_S = 75
"""Seconds of ramp from which the present slope is taken."""
LEAST_RAMP_S = 25
SLOWEST_K_MIN = 0.6
"""Slope below which a ramp is called a stall."""
BEGIN_C = 28.0
"""Below it the pot has hardly begun to warm, and the first seconds' slope says little."""
FARTHEST_S = 3600.0
USUAL_WATER_G = (600.0, 300.0)
"""Water in the pot where nobody said how much, with its standard uncertainty (common practice, no source)."""
LOSS_W_K = (0.45, 0.4)
"""Heat that a pot of 12 to 20 cm gives to the air, W/K: 0.035 m2 at 13 W/(m2 K) (a usual figure for natural
convection with radiation), with its standard uncertainty. Hot gas bathes the bottom and much of the side, so about half
of its 0.07 m2 gives heat away."""
AIR_C = 15.0
POT_SHARE = 0.08
"""Heat capacity of a pot over that of its water (common practice, no source)."""
SURFACE_K = 6.0
"""The vapour-pressure law diverges at boiling, where heat limits the loss: it is held from so far below on."""
LEAST_NET = 0.05
"""Share of the heat that must still warm the water; below it the pot stalls."""
SHARED_FLICKER_S = 5.0
BOTH_WAYS = (1.0, -1.0)
POWER_REL_U = 0.12
"""Relative standard uncertainty of the heat that reaches the pot now, from the slope of one ramp (common practice, no
source)."""
POWER_WANDER = 0.16
"""By how much a fire's power changes within `WANDER_S`, one standard deviation as a share; it grows with the root of
time. Spread of the simulated burns, and common practice: a fire is never even."""
WANDER_S = 300.0
DYING_SHARE = (0.14, 0.11)
"""By how much the time in flame is longer than fuel over pace says, as a share of it, with its standard uncertainty: a
fire does not stop, it dies over a stretch in which the rate falls to that of char (simulated burns of three makers)."""
LEAST_U_OUT_S = 20.0
"""What remains uncertain of a flameout that is near: a fire dies over a while."""
CHAR_SHARE = (0.20, 0.05)
"""Dry char over dry fuel at flameout, with its standard uncertainty, where no earlier burn tells better."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Forecast:
    """A moment to come, in seconds from the trial's first sample, and its standard uncertainty."""

    t_s: float
    u_s: float

    @property
    def interval_95(self) -> tuple[float, float]:
        """The 95 % interval."""
        return self.t_s - COVERAGE_95 * self.u_s, self.t_s + COVERAGE_95 * self.u_s


@dataclass(frozen=True, slots=True)
class NoForecast:
    """Why there is no forecast."""

    why: str


@dataclass(frozen=True, slots=True)
class PotFacts:
    """What a forecast of the boil needs to know of the pot.

    Attributes:
        boiling_c: Local boiling temperature, its uncertainty with that of the probe.
        pressure_pa: Air pressure.
        water_g: Water in the pot; None where nobody knows.
        lid: Whether a lid is on.
    """

    boiling_c: UFloat
    pressure_pa: float
    water_g: UFloat | None = None
    lid: bool = False


def forecast_boil(water_c: Array, now_s: float, pot: PotFacts) -> Forecast | NoForecast:
    """Extrapolate the ramp of the water's temperature to the boiling point.

    The heat that reaches the water is taken to stay as it is; the heat balance bends the ramp, because a hotter pot
    loses more to the air and as vapour: `m c dT/dt = P - L(T)`. The interval comes from the scatter of the slope, the
    boiling point, and the power and losses, which are only roughly known.

    Args:
        water_c: (n,) water temperature at each second up to now, NaN where unknown.
        now_s: The present, seconds from the trial's first sample.
        pot: What is known of the pot.
    """
    recent = water_c[-RAMP_S:]
    t = np.arange(len(recent), dtype=np.float64)
    known = np.isfinite(recent)
    if known.sum() < LEAST_RAMP_S:
        return NoForecast("too few readings of the water")
    ramp = _ramp(t[known], recent[known], float(len(recent) - 1))
    if ramp.now_c < BEGIN_C:
        return NoForecast("the water has hardly begun to warm")
    if ramp.slope * 60.0 < SLOWEST_K_MIN or ramp.slope < 3.0 * ramp.u_slope:
        return NoForecast("the water's temperature does not rise")
    target = float(pot.boiling_c.nominal_value)
    if ramp.now_c >= target - 0.3:
        return NoForecast("the water is at its boiling point")
    central = _seconds_to(target, ramp, pot)
    if central is None:
        return NoForecast("at this power the water stays below its boiling point")
    # One input at a time moved by its standard uncertainty, both ways (JCGM 100:2008, 5.1.3, numerically).
    power_u = float(np.hypot(POWER_REL_U, POWER_WANDER * (central / WANDER_S) ** 0.5))
    boiling_u = float(pot.boiling_c.std_dev)
    moved = [
        [_seconds_to(target - way * boiling_u, ramp, pot) for way in BOTH_WAYS],
        [_seconds_to(target, replace(ramp, slope=ramp.slope + way * ramp.u_slope), pot) for way in BOTH_WAYS],
        [_seconds_to(target, ramp, pot, power=1.0 + way * power_u) for way in BOTH_WAYS],
        [_seconds_to(target, ramp, pot, more_loss=-way) for way in BOTH_WAYS],
    ]
    u_s = float(np.linalg.norm([_reach_s(central, *pair) for pair in moved]))
    if central > FARTHEST_S or u_s > central:
        return NoForecast("the ramp is too slow or too unsteady to tell")
    return Forecast(now_s + central, max(u_s, 1.0))


def _reach_s(central_s: float, sooner_s: float | None, later_s: float | None) -> float:
    """Return how far an input moves the boil: the farther of both ways; as far as it is off where the pot may stall."""
    late_s = central_s if later_s is None else later_s - central_s
    return max(central_s - (sooner_s or 0.0), late_s)


def forecast_flameout(
    now_s: float,
    fuel_in_g: UFloat | None,
    fuel_lost_g: UFloat,
    rate_g_s: UFloat,
    moisture_wet: UFloat | None = None,
    *,
    lit_s: float,
) -> Forecast | NoForecast:
    """Divide what is left to burn with a flame by the present burning rate.

    What stays behind as char does not burn with a flame: a share of the dry fuel (`CHAR_SHARE`). The last of it burns
    at a falling rate, which lasts longer by a share of the whole (`DYING_SHARE`).

    Args:
        now_s: The present, seconds from the trial's first sample.
        fuel_in_g: Moist fuel put in, with refuels; None where nobody knows.
        fuel_lost_g: What it has lost so far.
        rate_g_s: Present burning rate.
        moisture_wet: Its moisture; a tenth where unknown.
        lit_s: When it caught.
    """
    if fuel_in_g is None:
        return NoForecast("the plan gives no mass of fuel")
    if rate_g_s.nominal_value <= 0.0 or rate_g_s.std_dev > 0.5 * rate_g_s.nominal_value:
        return NoForecast("the burning rate is not known well enough")
    moisture = moisture_wet if moisture_wet is not None else ufloat(0.10, 0.04)
    left = fuel_in_g - fuel_in_g * (1 - moisture) * ufloat(*CHAR_SHARE) - fuel_lost_g
    if left.nominal_value <= 0.0:
        return NoForecast("the fuel is burnt down to char: the flame may die at any moment")
    seconds = left / rate_g_s
    central = float(seconds.nominal_value)
    if central > FARTHEST_S:
        return NoForecast("more than an hour away")
    wander = POWER_WANDER * (central / WANDER_S) ** 0.5 * central
    in_flame = now_s - lit_s + central
    u_s = float(np.hypot(np.hypot(seconds.std_dev, wander), DYING_SHARE[1] * in_flame)) + LEAST_U_OUT_S
    return Forecast(now_s + central + DYING_SHARE[0] * in_flame, u_s)


@dataclass(frozen=True, slots=True)
class _Ramp:
    """The newest stretch of a ramp: its slope, K/s, holds at its middle, and `now_c` is where it ends."""

    slope: float
    u_slope: float
    middle_c: float
    now_c: float


def _ramp(t: Array, value: Array, now: float) -> _Ramp:
    centre = t - t.mean()
    spread = float(centre @ centre)
    slope = float(centre @ value) / spread
    residual = value - value.mean() - slope * centre
    # Neighbouring seconds share the fire's flicker, so the scatter counts as if only every fifth were independent.
    variance = SHARED_FLICKER_S * float(residual @ residual) / max(len(t) - 2, 1)
    return _Ramp(
        slope, float(np.sqrt(variance / spread)), float(value.mean()), float(value.mean() + slope * (now - t.mean()))
    )


def _seconds_to(
    target_c: float, ramp: _Ramp, pot: PotFacts, *, power: float = 1.0, more_loss: float = 0.0
) -> float | None:
    """Return the seconds until a temperature is reached, or None if the power does not suffice.

    Args:
        target_c: Where to.
        ramp: From where, and how fast now.
        pot: The pot.
        power: Factor on the heat that reaches the water.
        more_loss: Losses above the usual ones, in their standard uncertainties.
    """
    if ramp.now_c >= target_c:
        return 0.0
    water_g = pot.water_g.nominal_value if pot.water_g is not None else USUAL_WATER_G[0]
    capacity_j_k = float(water_g) * float(heat_capacity_j_gk(ramp.now_c)) * (1.0 + POT_SHARE)
    steps = np.linspace(ramp.now_c, target_c, 40)
    held = np.minimum(np.append(steps, ramp.middle_c), target_c - SURFACE_K)
    loss_w = _loss_w(held, pot, more_loss)
    gain_w = (capacity_j_k * ramp.slope + loss_w[-1]) * power
    net_w = gain_w - loss_w[:-1]
    if net_w.min() < LEAST_NET * gain_w:
        return None
    seconds_per_k = capacity_j_k / net_w
    return float(((seconds_per_k[1:] + seconds_per_k[:-1]) * 0.5 * np.diff(steps)).sum())


def _loss_w(water_c: Array, pot: PotFacts, more: float) -> Array:
    """Return what a pot loses to the air and as vapour, W, at each temperature (n,)."""
    coefficient, u_coefficient = sub_boiling_coefficient(pot.lid, pot.water_g)
    vapour_g_s = (coefficient + more * u_coefficient) * vapour_drive(water_c, pot.pressure_pa)
    to_air_w = (LOSS_W_K[0] + more * LOSS_W_K[1]) * (water_c - AIR_C)
    return np.asarray(vapour_g_s * latent_heat_j_g(np.clip(water_c, 1.0, 110.0)) + to_air_w)
