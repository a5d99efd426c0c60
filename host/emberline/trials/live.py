"""A trial while it runs: what the tracker says of it, what it burns now, and what is to come."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import boiling_point, pressure_at_altitude_pa
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan
from emberline.bench.samples import SampleBatch
from emberline.curves.burning_rate import filtered, typical_rate
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.grid import Column, Grid
from emberline.heat.evaporation import sub_boiling_coefficient, vapour_drive
from emberline.trials.estimates import NO_POT, NOT_LIT, Estimates
from emberline.trials.forecast import Forecast, NoForecast, PotFacts, forecast_boil, forecast_flameout
from emberline.trials.tracker import LIVE_WANDER, Tracked, Tracker
from emberline.trials.trial import GrowingGrid

Array = NDArray[np.float64]

ESTIMATE_EVERY_S = 5
RATE_WINDOW_S = 120
JUMP_G, JUMP_NOISES = 1.5, 12.0
"""Change from second to second that is no burning: so many grams, and so many times the usual change."""
STEAM_K = 3.0
"""From so little below the boiling point on, steam hides what the fuel loses."""
HELD_REL_U = 0.2
"""Relative standard uncertainty of the burning rate that is held through a boil (common practice, no source)."""
MOST_U_RATE_G_S = 0.04
"""A rate less certain than this (2.4 g/min) is not shown."""
USUAL_PA = 97_000.0


class LiveTrial:
    """Follows one trial commit by commit; the same commits in the same order say the same.

    Attributes:
        estimates: The newest estimates.
    """

    def __init__(self, channels: Mapping[Role, Channel], plan: Plan, start_ns: int, char_s: float = 1_800.0) -> None:
        """Begin without samples.

        Args:
            channels: The bench's channels by role, their calibrations completed.
            plan: What is known beforehand.
            start_ns: UTC nanoseconds of `t_s = 0`.
            char_s: Length of the char phase until the trial ends by itself.
        """
        self.estimates = Estimates()
        self._channels = dict(channels)
        self._plan = plan
        self._char_s = char_s
        self._growing = GrowingGrid(channels, start_ns)
        self._tracker = Tracker(channels, plan)
        self._looked = 0
        self._clean_rate: UFloat | None = None
        self._burnt_g = 0.0

    @property
    def start_ns(self) -> int:
        """UTC nanoseconds of `t_s = 0`."""
        return self._growing.samples.start_ns

    @property
    def now_s(self) -> int:
        """Seconds that have been looked at."""
        return self._looked

    @property
    def tracked(self) -> Tracked:
        """Everything said so far."""
        return self._tracker.tracked

    @property
    def phase(self) -> Phase:
        """The phase as far as it has been announced."""
        return self._tracker.phase

    def take(self, batches: Sequence[SampleBatch]) -> list[Event | Retraction]:
        """Take in one commit and return what is to be said now."""
        said: list[Event | Retraction] = []
        complete = self._growing.add(batches)
        while self._looked < complete:
            self._looked += 1
            grid = self._growing.grid(self._looked)
            said += self._tracker.look(grid)
            if self._looked % ESTIMATE_EVERY_S == 0:
                self._estimate(grid)
        return said

    def event(self, kind: EventKind) -> Event | None:
        """Return the latest standing event of a kind, or None."""
        found = [event for event in self.tracked.announced if event.kind is kind]
        return max(found, key=lambda event: event.t_s, default=None)

    def grid(self) -> Grid:
        """Return all seconds so far."""
        return self._growing.grid()

    # Estimates

    def _estimate(self, grid: Grid) -> None:
        lit = self.event(EventKind.LIT)
        out = self.event(EventKind.FLAMEOUT)
        steaming = self._steaming(grid)
        loss = _loss_now(grid.get(Role.MASS))
        rate = None
        if loss is not None and lit is not None:
            vapour = self._vapour(grid)
            rate = self._held() if steaming else loss if vapour is None else loss - vapour
        if rate is not None and not steaming:
            self._clean_rate = rate
        if rate is not None and lit is not None:
            since_s = min(float(ESTIMATE_EVERY_S), max(0.0, grid.n - lit.t_s))
            self._burnt_g += max(0.0, float(rate.nominal_value)) * since_s
        burnt = ufloat(self._burnt_g, 0.05 * self._burnt_g + 1.0) if lit is not None and loss is not None else None
        self.estimates = Estimates(
            rate_g_min=None if rate is None else rate * 60.0,
            held=steaming and rate is not None,
            burnt_g=burnt,
            boil=self._forecast_boil(grid),
            flameout=self._forecast_flameout(grid.n, lit, out, rate, burnt),
            progress=self._progress(grid.n, lit, out, burnt),
        )

    def _held(self) -> UFloat | None:
        """Return the rate from before the boil, less certain than it was."""
        return None if self._clean_rate is None else self._clean_rate * ufloat(1.0, HELD_REL_U)

    def _pot_stands(self) -> bool:
        on, off = self.event(EventKind.POT_ON), self.event(EventKind.POT_OFF)
        return on is not None and (off is None or off.t_s < on.t_s)

    def _steaming(self, grid: Grid) -> bool:
        water = _last_known(grid.get(Role.WATER))
        return self._pot_stands() and water is not None and water > self._boiling().nominal_value - STEAM_K

    def _vapour(self, grid: Grid) -> UFloat | None:
        """Return what the pot on this load cell loses below boiling, g/s; None where no such pot is known."""
        water = _last_known(grid.get(Role.WATER))
        if water is None or not self._pot_stands() or grid.get(Role.POT_MASS) is not None:
            return None
        lid = self._plan.pot is not None and self._plan.pot.lid
        coefficient, u_coefficient = sub_boiling_coefficient(lid, self._water_g())
        drive = float(vapour_drive(np.array([water]), self._pressure_pa())[0])
        return ufloat(coefficient * drive, u_coefficient * drive)

    def _water_g(self) -> UFloat | None:
        """Return the water planned for the present visit of the pot."""
        if self._plan.pot is None:
            return None
        visits = sum(event.kind is EventKind.POT_ON for event in self.tracked.announced)
        return self._plan.pot.visit(max(visits - 1, 0)).water_g

    def _boiling(self) -> UFloat:
        return boiling_point(self._plan.place)

    def _pressure_pa(self) -> float:
        place = self._plan.place
        if place.pressure_pa is not None:
            return float(place.pressure_pa.n)
        return USUAL_PA if place.altitude_m is None else float(pressure_at_altitude_pa(place.altitude_m.n))

    def _forecast_boil(self, grid: Grid) -> Forecast | NoForecast:
        water = grid.get(Role.WATER)
        if water is None:
            return NoForecast("no probe is in the water")
        on, boil = self.event(EventKind.POT_ON), self.event(EventKind.BOIL)
        if boil is not None and (on is None or boil.t_s >= on.t_s):
            return NoForecast("it has boiled")
        if grid.get(Role.MASS) is not None and not self._pot_stands():
            return NO_POT
        pot = self._plan.pot
        since = int(on.t_s) if on is not None else 0
        boiling = self._boiling() + ufloat(0.0, max(self._channels[Role.WATER].u_bias, 0.05))
        facts = PotFacts(boiling, self._pressure_pa(), self._water_g(), pot.lid if pot is not None else False)
        return forecast_boil(water.value[since : grid.n], float(grid.n), facts)

    def _forecast_flameout(
        self, now: int, lit: Event | None, out: Event | None, rate: UFloat | None, burnt: UFloat | None
    ) -> Forecast | NoForecast:
        if out is not None:
            return NoForecast("the flame is out")
        if lit is None:
            return NOT_LIT
        if rate is None or burnt is None:
            return NoForecast("the burning rate is not known")
        return forecast_flameout(float(now), self._fuel_in(), burnt, rate, self._plan.fuel.moisture_wet)

    def _fuel_in(self) -> UFloat | None:
        """Return the fuel put in so far: planned, with each refuel by the load cell."""
        fuel = self._plan.fuel
        if fuel.mass_g is None:
            return None
        parts = [part for part in (fuel.mass_g, fuel.kindling_g, fuel.starter_g) if part is not None]
        added = [e.size_g for e in self.tracked.announced if e.kind is EventKind.REFUEL and e.size_g is not None]
        return sum([*parts[1:], *added], parts[0])

    def _progress(self, now: int, lit: Event | None, out: Event | None, burnt: UFloat | None) -> float | None:
        if out is not None:
            return min(1.0, (now - out.t_s) / self._char_s)
        fuel = self._fuel_in()
        if lit is None or fuel is None or burnt is None:
            return None
        return float(min(1.0, burnt.nominal_value / (0.8 * fuel.nominal_value)))


def _loss_now(mass: Column | None) -> UFloat | None:
    """Return how fast the load falls now, g/s, from the last two minutes; None where that cannot be told."""
    if mass is None:
        return None
    tail = mass.value[-RATE_WINDOW_S:]
    tail = tail[_last_jump(tail) :]
    if np.isfinite(tail[-15:]).sum() < 5 or np.isfinite(tail).sum() < 20:
        return None
    fitted = filtered(tail, wander=LIVE_WANDER * typical_rate(tail) ** 2)
    rate, u_rate = float(fitted.rate_g_s[-1]), float(fitted.u_rate_g_s[-1])
    return ufloat(rate, u_rate) if u_rate < MOST_U_RATE_G_S else None


def _last_jump(mass_g: Array) -> int:
    """Return where the curve begins after its last jump: what was put on, lifted or touched; 0 without one."""
    change = np.abs(np.diff(mass_g))
    known = change[np.isfinite(change)]
    if len(known) < 5:
        return 0
    jumps = np.flatnonzero(change > max(JUMP_G, JUMP_NOISES * float(np.median(known))))
    return int(jumps[-1]) + 2 if len(jumps) else 0


def _last_known(column: Column | None) -> float | None:
    """Return the newest value of a column, or None where the last ten seconds have none."""
    if column is None:
        return None
    recent = column.value[-10:]
    known = recent[np.isfinite(recent)]
    return float(known[-1]) if len(known) else None
