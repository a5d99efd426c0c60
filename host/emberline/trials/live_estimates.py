"""What a live run estimates beside the events: the burning rate, what has burnt, and what is to come."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import boiling_point, pressure_at_altitude_pa
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan
from emberline.bench.toml_reading import SURE
from emberline.curves.burning_rate import LossRate
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column, Grid
from emberline.curves.robust import median
from emberline.heat.firepower import live_firepower_w
from emberline.heat.moments import uncertain
from emberline.heat.water_course import WaterCourse
from emberline.trials.estimates import NO_POT, NOT_LIT, Estimates, PotWater, plain
from emberline.trials.forecast import CHAR_SHARE, Forecast, NoForecast, PotFacts, forecast_boil, forecast_flameout
from emberline.trials.tracker import Tracker

Array = NDArray[np.float64]

STEAM_K = 3.0
"""From so little below the boiling point on, steam hides what the fuel loses."""
NEAR_K = 8.0
"""The same where it is not announced yet that the water boils, and its probe may be off by some kelvins."""
LOST_REL_U = 0.10
"""Standard uncertainty of the water lost by the account of a burn that still goes on, beside its own, as a share of it:
found on burns of both simulators."""
BALANCE_EVERY_S = 30
"""Seconds between two looks at what of the load's loss is water."""
BURNT_REL_U, BURNT_U_G = 0.03, 1.0
"""Standard uncertainty of what has burnt, beside that of the water: a share of it, and some grams for the lighting."""
MOST_U_RATE_G_S = 0.04
"""A rate less certain than this (2.4 g/min) is not shown."""
PACE_S, NEWEST_S = 90, 10
"""Seconds over which the present pace of a fire is taken, and what is water of its newest loss."""
WARMED_K = 5.0
"""Rise of the water's temperature that tells a pot which no step of the load has set down."""
USUAL_PA = 97_000.0


class Estimator:
    """Estimates what the events leave open, every few seconds.

    Args:
        channels: The bench's channels by role.
        plan: What is known beforehand.
        char_s: Length of the char phase until the trial ends by itself.

    Attributes:
        water: The water of the pot that stands; None where none does, or nobody can tell.
    """

    def __init__(self, channels: Mapping[Role, Channel], plan: Plan, char_s: float) -> None:
        self.water: PotWater | None = None
        self._channels, self._plan, self._char_s = dict(channels), plan, char_s
        self._boiling_c = boiling_point(plan.place)
        self._balance: _Balance | None = None
        self._announced = 0
        self._near_since: int | None = None

    def look(self, grid: Grid, tracker: Tracker) -> Estimates:
        """Estimate from the record so far.

        Args:
            grid: The record up to now.
            tracker: Its tracker, which has looked at the same second.
        """
        now, announced = grid.n, tracker.tracked.announced
        lit, out = _last(announced, EventKind.LIT), _last(announced, EventKind.FLAMEOUT)
        on, off = _last(announced, EventKind.POT_ON), _last(announced, EventKind.POT_OFF)
        stands = on is not None and (off is None or off.t_s < on.t_s)
        water_c = _last_known(grid.get(Role.WATER))
        boiling = self._boiling_c
        steaming = stands and water_c is not None and water_c > boiling.nominal_value - STEAM_K
        near = stands and water_c is not None and water_c > boiling.nominal_value - NEAR_K
        balance = self._balanced(grid, tracker, int(lit.t_s)) if lit is not None else None
        rate = balance.rate_g_s(tracker.loss(grid)) if balance is not None else None
        burnt = balance.burnt_g(now) if balance is not None else None
        fuel_in = self._fuel_in(tracker.refuels_g)
        rate_g_min = None if rate is None else rate * 60.0
        power_w = None if rate_g_min is None else live_firepower_w(rate_g_min, burnt, self._plan, tracker.phase)
        self.water = self._water(balance, tracker, now, self._unseen_g(grid, tracker, on, near=near))
        return Estimates(
            rate_g_min=plain(rate_g_min),
            firepower_w=plain(power_w),
            held=steaming and rate is not None,
            burnt_g=plain(burnt),
            water_left_g=None if self.water is None else plain(self.water.left_g),
            boil=self._boil(grid, announced, on, stands, boiling),
            flameout=self._flameout(now, lit, out, balance, fuel_in),
            progress=self._progress(now, lit, out, burnt, fuel_in),
        )

    def _balanced(self, grid: Grid, tracker: Tracker, lit_s: int) -> "_Balance | None":
        """Return what of the load's loss was fuel, looked at anew now and then."""
        announced = len(tracker.tracked.announced)
        # A pot set down or lifted changes at once what of the loss is water.
        fresh = self._balance is not None and grid.n - self._balance.until < BALANCE_EVERY_S
        if fresh and announced == self._announced:
            return self._balance
        self._announced = announced
        apart = tracker.apart(grid)
        if apart is not None:
            self._balance = _balance(*apart, lit_s, grid.n)
        return self._balance

    def _unseen_g(self, grid: Grid, tracker: Tracker, on: Event | None, *, near: bool) -> float:
        """Return how much steam may have left since the water came near its boil, which has not been announced yet."""
        tracker.mark(grid)
        boil = _last(tracker.tracked.announced, EventKind.BOIL)
        waits = near and on is not None and (boil is None or boil.t_s <= on.t_s)
        loss = tracker.loss(grid) if waits else None
        if loss is None:
            self._near_since = None
            return 0.0
        self._near_since = grid.n if self._near_since is None else self._near_since
        return max(float(np.sum(loss.rate_g_s[self._near_since :])), 0.0)

    def _water(self, balance: "_Balance | None", tracker: Tracker, now: int, unseen_g: float) -> PotWater | None:
        """Return the water of the pot that stands."""
        if balance is None or balance.lost_g is None:
            return None
        lost_g = balance.lost_g + balance.steam_g_s.nominal_value * (now - balance.until)
        lost_g += ufloat(0.0, max(hypot(unseen_g / sqrt(3.0), LOST_REL_U * lost_g.nominal_value), SURE))
        stays, pot = tracker.stays, self._plan.pot
        if pot is None or not stays or stays[-1].off is not None:
            return PotWater(lost_g)
        index, on = len(stays) - 1, stays[-1].on
        filled = pot.visit(index).water_g
        if pot.tare_g is not None and on is not None and (filled is None or index >= max(1, len(pot.visits))):
            # What holds for every visit is fresh water; a pot that was only looked into holds less.
            filled = on.size_g - pot.tare_g - (pot.lid_g or 0.0 if pot.lid else 0.0)
        return PotWater(lost_g, filled)

    def _pressure_pa(self) -> float:
        place = self._plan.place
        if place.pressure_pa is not None:
            return float(place.pressure_pa.n)
        return USUAL_PA if place.altitude_m is None else float(pressure_at_altitude_pa(place.altitude_m.n))

    def _boil(
        self, grid: Grid, announced: list[Event], on: Event | None, stands: bool, boiling: UFloat
    ) -> Forecast | NoForecast:
        water, boil = grid.get(Role.WATER), _last(announced, EventKind.BOIL)
        if water is None:
            return NoForecast("no probe is in the water")
        if boil is not None and (on is None or boil.t_s >= on.t_s):
            return NoForecast("it has boiled")
        weighed = grid.get(Role.MASS) is not None or grid.get(Role.POT_MASS) is not None
        if weighed and not stands and (on is not None or not _warmed(water)):
            return NO_POT
        pot = self._plan.pot
        since = int(on.t_s) if on is not None else 0
        visit = max(sum(event.kind is EventKind.POT_ON for event in announced) - 1, 0)
        channel = self._channels.get(Role.WATER)
        bias_k = max(channel.u_bias if channel is not None else 0.0, 0.05)
        facts = PotFacts(
            boiling + ufloat(0.0, bias_k),
            self._pressure_pa(),
            pot.visit(visit).water_g if pot is not None else None,
            pot.lid if pot is not None else False,
        )
        return forecast_boil(water.value[since : grid.n], float(grid.n), facts)

    def _flameout(
        self,
        now: int,
        lit: Event | None,
        out: Event | None,
        balance: "_Balance | None",
        fuel_in: UFloat | None,
    ) -> Forecast | NoForecast:
        if out is not None:
            return NoForecast("the flame is out")
        if lit is None:
            return NOT_LIT
        if balance is None:
            return NoForecast("no load cell tells what has burnt")
        moisture = self._plan.fuel.moisture_wet
        burnt_g, pace_g_s = balance.burnt_g(now), balance.pace_g_s
        return forecast_flameout(float(now), fuel_in, burnt_g, pace_g_s, moisture, lit_s=lit.t_s)

    def _fuel_in(self, refuels_g: list[UFloat]) -> UFloat | None:
        """Return the fuel put in so far: planned, with each refuel by the load cell."""
        fuel = self._plan.fuel
        if fuel.mass_g is None:
            return None
        parts = [part for part in (fuel.mass_g, fuel.kindling_g, fuel.starter_g) if part is not None]
        return sum([*parts[1:], *refuels_g], parts[0])

    def _progress(
        self, now: int, lit: Event | None, out: Event | None, burnt: UFloat | None, fuel_in: UFloat | None
    ) -> float | None:
        if out is not None:
            return min(1.0, (now - out.t_s) / self._char_s)
        if lit is None or fuel_in is None or burnt is None:
            return None
        return float(min(1.0, burnt.nominal_value / ((1.0 - CHAR_SHARE[0]) * fuel_in.nominal_value)))


@dataclass(frozen=True, slots=True)
class _Balance:
    """What of the load's loss was fuel at some moment.

    Attributes:
        until: That moment, seconds.
        burnt: What the fuel had lost since lighting, g.
        pace_g_s: Its rate of loss in the last minute.
        steam_g_s: The water's rate of loss in the last seconds.
        lost_g: What had left the pot that stood; None where none did.
    """

    until: int
    burnt: UFloat
    pace_g_s: UFloat
    steam_g_s: UFloat
    lost_g: UFloat | None

    def burnt_g(self, now: int) -> UFloat:
        """Return what the fuel has lost by now."""
        return self.burnt + self.pace_g_s.nominal_value * (now - self.until)

    def rate_g_s(self, loss: LossRate | None) -> UFloat | None:
        """Return the fuel's present rate of loss; None where the load cell cannot tell it."""
        if loss is None or float(loss.u_rate_g_s[-1]) > MOST_U_RATE_G_S:
            return None
        return ufloat(float(loss.rate_g_s[-1]), float(loss.u_rate_g_s[-1])) - self.steam_g_s


def _balance(courses: Sequence[WaterCourse], fuel: LossRate, lit_s: int, now: int) -> _Balance:
    """Draw the balance of a record so far."""
    late, last = slice(max(0, now - PACE_S), now), slice(max(0, now - NEWEST_S), now)
    steam = sum((float(np.mean(course.rate_g_s[last])) for course in courses), 0.0)
    u_steam = sum((float(np.mean(course.u_rate_g_s[last])) for course in courses), 0.0)
    u_pace = np.hypot(sum((float(np.mean(c.u_rate_g_s[late])) for c in courses), 0.0), np.mean(fuel.u_rate_g_s[late]))
    burnt = max(float(np.sum(fuel.rate_g_s[min(lit_s, now) : now])), 0.0)
    u_water = sum((float(course.lost_by(float(now)).std_dev) for course in courses), 0.0)
    u_burnt = float(np.hypot(BURNT_REL_U * burnt + BURNT_U_G, u_water))
    pace = ufloat(float(np.mean(fuel.rate_g_s[late])), float(u_pace))
    standing = [course for course in courses[-1:] if not course.lifted]
    lost = standing[0].lost_by(float(now)) if standing else None
    plain = None if lost is None else ufloat(float(lost.nominal_value), max(float(lost.std_dev), SURE))
    return _Balance(now, ufloat(burnt, u_burnt), pace, uncertain(steam, u_steam, "steam"), plain)


def _last(announced: list[Event], kind: EventKind) -> Event | None:
    """Return the latest standing event of a kind, or None."""
    return max((event for event in announced if event.kind is kind), key=lambda event: event.t_s, default=None)


def _warmed(water: Column) -> bool:
    """Tell whether the water has been heated in this record."""
    known = water.value[np.isfinite(water.value)]
    return len(known) > 0 and median(known[-20:]) - median(known[:20]) > WARMED_K


def _last_known(column: Column | None) -> float | None:
    """Return the newest value of a column, or None where the last ten seconds have none."""
    if column is None:
        return None
    known = [value for value in column.value[-10:].tolist() if value == value]
    return float(known[-1]) if known else None
