"""What a live run estimates beside the events: the burning rate, what has burnt, and what is to come."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import boiling_point, pressure_at_altitude_pa
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan
from emberline.curves.burning_rate import LossRate
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column, Grid
from emberline.heat.evaporation import sub_boiling_coefficient, vapour_drive
from emberline.trials.estimates import NO_POT, NOT_LIT, Estimates
from emberline.trials.forecast import CHAR_SHARE, Forecast, NoForecast, PotFacts, forecast_boil, forecast_flameout
from emberline.trials.tracker import Tracker

Array = NDArray[np.float64]

STEAM_K = 3.0
"""From so little below the boiling point on, steam hides what the fuel loses."""
HELD_REL_U = 0.2
"""Relative standard uncertainty of the burning rate that is held through a boil (common practice, no source)."""
BURNT_REL_U, BURNT_U_G = 0.03, 1.0
"""Standard uncertainty of what has burnt: a share of it for vapour and drift, and some grams for the lighting."""
MOST_U_RATE_G_S = 0.04
"""A rate less certain than this (2.4 g/min) is not shown."""
PACE_S = 60
"""Seconds over which the present pace of a fire is taken."""
WARMED_K = 5.0
"""Rise of the water's temperature that tells a pot which no step of the load has set down."""
USUAL_PA = 97_000.0


class Estimator:
    """Estimates what the events leave open, every few seconds.

    Args:
        channels: The bench's channels by role.
        plan: What is known beforehand.
        char_s: Length of the char phase until the trial ends by itself.
    """

    def __init__(self, channels: Mapping[Role, Channel], plan: Plan, char_s: float) -> None:
        self._channels, self._plan, self._char_s = dict(channels), plan, char_s
        self._clean_rate: UFloat | None = None
        self._burnt_g, self._u_held_g = 0.0, 0.0
        self._burnt_until: int | None = None

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
        boiling = boiling_point(self._plan.place)
        steaming = stands and water_c is not None and water_c > boiling.nominal_value - STEAM_K
        loss = tracker.loss(grid)
        rate = None
        if loss is not None and lit is not None:
            visit = max(sum(event.kind is EventKind.POT_ON for event in announced) - 1, 0)
            vapour = self._vapour(grid, visit, water_c) if stands else None
            rate = self._rate(loss, steaming, vapour)
            self._burn(loss, int(lit.t_s), now, rate if steaming else None, vapour)
        burnt = None
        if lit is not None and loss is not None:
            burnt = ufloat(self._burnt_g, BURNT_REL_U * self._burnt_g + BURNT_U_G + self._u_held_g)
        fuel_in = self._fuel_in(announced)
        return Estimates(
            rate_g_min=None if rate is None else rate * 60.0,
            held=steaming and rate is not None,
            burnt_g=burnt,
            boil=self._boil(grid, announced, on, stands, boiling),
            flameout=self._flameout(now, lit, out, rate, burnt, fuel_in),
            progress=self._progress(now, lit, out, burnt, fuel_in),
        )

    def _rate(self, loss: LossRate, steaming: bool, vapour: UFloat | None) -> UFloat | None:
        """Return the fuel's rate of loss now, g/s; None where it cannot be told."""
        if steaming:
            return None if self._clean_rate is None else self._clean_rate * ufloat(1.0, HELD_REL_U)
        rate, u_rate = float(loss.rate_g_s[-1]), float(loss.u_rate_g_s[-1])
        if u_rate > MOST_U_RATE_G_S:
            return None
        now = ufloat(rate, u_rate) if vapour is None else ufloat(rate, u_rate) - vapour
        recent = loss.rate_g_s[-PACE_S:]
        # What is held through a boil is the pace of the last minute, not that of one flicker.
        self._clean_rate = now + (float(np.mean(recent)) - rate)
        return now

    def _burn(self, loss: LossRate, lit_s: int, now: int, held: UFloat | None, vapour: UFloat | None) -> None:
        """Add up what the fuel has lost since the last look."""
        since = lit_s if self._burnt_until is None else self._burnt_until
        since = min(since, now)
        lost_g = float(np.sum(loss.rate_g_s[since:now]))
        if held is not None:
            lost_g = float(held.nominal_value) * (now - since)
            self._u_held_g += float(held.std_dev) * (now - since)
        elif vapour is not None:
            lost_g -= float(vapour.nominal_value) * (now - since)
        self._burnt_g += max(0.0, lost_g)
        self._burnt_until = now

    def _vapour(self, grid: Grid, visit: int, water_c: float | None) -> UFloat | None:
        """Return what the pot on this load cell loses below boiling, g/s; None where no such pot is known."""
        if water_c is None or grid.get(Role.POT_MASS) is not None:
            return None
        pot = self._plan.pot
        water_g = pot.visit(visit).water_g if pot is not None else None
        coefficient, u_coefficient = sub_boiling_coefficient(pot is not None and pot.lid, water_g)
        drive = float(vapour_drive(np.array([water_c]), self._pressure_pa())[0])
        return ufloat(coefficient * drive, u_coefficient * drive)

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
        rate: UFloat | None,
        burnt: UFloat | None,
        fuel_in: UFloat | None,
    ) -> Forecast | NoForecast:
        if out is not None:
            return NoForecast("the flame is out")
        if lit is None:
            return NOT_LIT
        if rate is None or burnt is None:
            return NoForecast("the burning rate is not known")
        pace = self._clean_rate if self._clean_rate is not None else rate
        return forecast_flameout(float(now), fuel_in, burnt, pace, self._plan.fuel.moisture_wet)

    def _fuel_in(self, announced: list[Event]) -> UFloat | None:
        """Return the fuel put in so far: planned, with each refuel by the load cell."""
        fuel = self._plan.fuel
        if fuel.mass_g is None:
            return None
        parts = [part for part in (fuel.mass_g, fuel.kindling_g, fuel.starter_g) if part is not None]
        added = [e.size_g for e in announced if e.kind is EventKind.REFUEL and e.size_g is not None]
        return sum([*parts[1:], *added], parts[0])

    def _progress(
        self, now: int, lit: Event | None, out: Event | None, burnt: UFloat | None, fuel_in: UFloat | None
    ) -> float | None:
        if out is not None:
            return min(1.0, (now - out.t_s) / self._char_s)
        if lit is None or fuel_in is None or burnt is None:
            return None
        return float(min(1.0, burnt.nominal_value / ((1.0 - CHAR_SHARE[0]) * fuel_in.nominal_value)))


def _last(announced: list[Event], kind: EventKind) -> Event | None:
    """Return the latest standing event of a kind, or None."""
    return max((event for event in announced if event.kind is kind), key=lambda event: event.t_s, default=None)


def _warmed(water: Column) -> bool:
    """Tell whether the water has been heated in this record."""
    known = water.value[np.isfinite(water.value)]
    return len(known) > 0 and float(np.median(known[-20:])) - float(np.median(known[:20])) > WARMED_K


def _last_known(column: Column | None) -> float | None:
    """Return the newest value of a column, or None where the last ten seconds have none."""
    if column is None:
        return None
    known = [value for value in column.value[-10:].tolist() if value == value]
    return float(known[-1]) if known else None
