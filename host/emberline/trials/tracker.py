"""The tracker: follows a burn second by second, as a live run does, and says what it is sure of.

It steps on the 1 Hz grid and knows the past alone. Events are announced when the evidence suffices, revised when it
grows, and taken back when later seconds refute them. Every estimate is made by the same detectors as in the final pass,
on the curve so far; what differs is when they are asked, and that settled parts of the curve are not worked through
again. A tracker can be pickled at any second, and goes on from there as if nothing had been.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.bench.air import boiling_point
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan, VisitPlan
from emberline.curves.burning_rate import LossRate, noise_of
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.grid import Column, Grid
from emberline.curves.ignition import begun_mid_burn, find_lit
from emberline.curves.late_fuel import without_late_fuel
from emberline.curves.loads import Loads, Stay, tell_apart
from emberline.heat.fuel_in import starter_of
from emberline.heat.scale import Scale, scale_of
from emberline.heat.stay_seen import PotCurves
from emberline.heat.water_course import WaterCourse
from emberline.trials.live_boil import BoilWatch
from emberline.trials.live_cell import LiveCell, newest_change_g
from emberline.trials.live_flame import FED_G, RELIGHT_S, FlameWatch, as_announced
from emberline.trials.live_lit import may_be_lit
from emberline.trials.live_loads import LoadWatch
from emberline.trials.reading import (
    apart_as_it_stands,
    boil_windows,
    channel_of,
    end_of_flame,
    place_of,
    probe_of,
    smooth_water,
)
from emberline.trials.said import Sayings, Tracked, same_event

__all__ = ["Tracked", "Tracker", "same_event", "track"]

Array = NDArray[np.float64]

LOOK_EVERY_S = 5
"""Seconds between two looks at what changes slowly."""
LIT_WINDOW_S = 420
"""Seconds of curve in which lighting is looked for."""
LIT_AGAIN_S = (60, 240)
"""Seconds after its announcement at which lighting is dated again, on the curve that followed."""
MID_BURN_S = 60
"""Seconds after which a record that shows a fire without its lighting is said to have begun mid-burn."""
PRESSURE_EVERY_S = 60
SLOWER_AFTER_S, SLOWER_EVERY_S = 180, 15
"""A fire that sinks for so long without an end is looked at this often."""
OUT_AGAIN_S = (30, 60, 120, 300)
"""Seconds after its announcement at which the end of flame is dated again."""


class Tracker:
    """Follows one trial.

    Args:
        channels: The bench's channels by role.
        plan: What a person knows; what was weighed after the burn is left out of it.
    """

    def __init__(self, channels: Mapping[Role, Channel], plan: Plan) -> None:
        self._channels, self._plan = dict(channels), known_beforehand(plan)
        self._sayings = Sayings()
        self._cell, self._pot_cell = LiveCell(), LiveCell()
        self._loads, self._pot_loads = Loads((), (), (), ()), Loads((), (), (), ())
        self._load_watch = LoadWatch([float(r.mass_g.nominal_value) for r in plan.refuels if r.mass_g is not None])
        self._boil_watch = BoilWatch(boiling_point(plan.place), probe_of(channels))
        self._flame_watch = FlameWatch()
        self._burning_at_start = False
        self._out_s: float | None = None
        self._sinking_since: int | None = None

    @property
    def tracked(self) -> Tracked:
        """Everything said so far."""
        return self._sayings.tracked

    @property
    def phase(self) -> Phase:
        """The phase as far as it has been announced."""
        if self._sayings.newest(EventKind.FLAMEOUT) is not None:
            return Phase.CHAR
        burns = self._burning_at_start or self._sayings.newest(EventKind.LIT) is not None
        return Phase.FLAMING if burns else Phase.WAITING

    @property
    def flame_s(self) -> float | None:
        """Since when a flame burns, seconds of the record; None where none does, or its end was announced."""
        if self.phase is not Phase.FLAMING:
            return None
        return 0.0 if self._lit_s is None else self._lit_s

    @property
    def loads(self) -> Loads:
        """What was set on the main cell and taken off it so far."""
        return self._loads

    @property
    def stays(self) -> tuple[Stay, ...]:
        """The stays of the pot so far."""
        return self._pot_loads.stays or self._loads.stays

    @property
    def boiling_c(self) -> UFloat:
        """The local boiling temperature."""
        return self._boil_watch.boiling_c

    @property
    def refuels_g(self) -> list[UFloat]:
        """Sizes of all additions of fuel, those among them that are not announced yet."""
        return [e.size_g for e in self._loads.events if e.kind is EventKind.REFUEL and e.size_g is not None]

    def loss(self, grid: Grid) -> LossRate | None:
        """Return mass and rate of loss of all that stands on the cell, steps taken out; None without a cell.

        Args:
            grid: The record at the last look.
        """
        mass = grid.get(Role.MASS)
        return self._cell.loss(mass, grid.n) if mass is not None else None

    def mark(self, grid: Grid) -> None:
        """Have `loss` reckon with the last look, whether or not it is asked for."""
        if grid.get(Role.MASS) is not None:
            self._cell.mark(grid.n)

    def look(self, grid: Grid) -> list[Event | Retraction]:
        """Look at the record so far, one second longer than at the last call.

        Args:
            grid: The record up to and including the newest full second.

        Returns:
            What is to be said now: new events, revised ones, and retractions.
        """
        now = grid.n
        new_lit = self._look_for_lit(grid, now)
        self._look_at_loads(grid, now, new_lit)
        if now % PRESSURE_EVERY_S == 0 and grid.get(Role.PRESSURE) is not None:
            self._boil_watch.boiling_c = boiling_point(place_of(grid, self._plan))
        self._look_for_boil(grid, now)
        if now % LOOK_EVERY_S == 0:
            if self._sayings.newest(EventKind.FLAMEOUT) is None:
                self._look_for_flameout(grid, now)
            else:
                self._sinking_since = None
                self._look_back_at_flameout(grid, now)
        return self._sayings.heard()

    # Lighting

    def _look_for_lit(self, grid: Grid, now: int) -> bool:
        """Look for lighting in the last minutes; tell whether anything is new about it."""
        if now % LOOK_EVERY_S:
            return False
        mass, flame = grid.get(Role.MASS), grid.get(Role.FLAME)
        lit = self._sayings.newest(EventKind.LIT)
        if lit is not None:
            due = any(int((lit.announced_t_s or 0.0) + after) == now for after in LIT_AGAIN_S)
            low = max(0, int(lit.t_s) - LIT_WINDOW_S + MID_BURN_S)
        else:
            due = may_be_lit(mass, flame, now)
            low = max(0, now - LIT_WINDOW_S)
        if not due:
            return False
        bare = self._cell.bare(mass, low, now) if mass is not None else np.full(now - low, np.nan)
        piece = flame.between(low, now) if flame is not None else None
        noise = noise_of(bare)
        lag_s = self._channels[Role.FLAME].time_constant_s if Role.FLAME in self._channels else 0.0
        starter_g = starter_of(self._plan)
        found = find_lit(bare, noise, piece, flame_lag_s=lag_s, starter_g=starter_g)
        if found is None:
            if lit is None and low == 0 and now >= MID_BURN_S and not self._burning_at_start:
                self._burning_at_start = begun_mid_burn(bare, noise, piece, starter_g=starter_g)
                return self._burning_at_start
            return False
        if lit is None:
            self._sayings.announce(found.later(float(low)), now)
        else:
            self._sayings.revise(self.tracked.announced.index(lit), found.later(float(low)), now)
        return True

    @property
    def _lit_s(self) -> float | None:
        lit = self._sayings.newest(EventKind.LIT)
        return lit.t_s if lit is not None else None

    @property
    def _burns(self) -> bool:
        return self._burning_at_start or self._lit_s is not None

    # Loads

    def _look_at_loads(self, grid: Grid, now: int, new_lit: bool) -> None:
        mass, pot_mass = grid.get(Role.MASS), grid.get(Role.POT_MASS)
        out = self._sayings.newest(EventKind.FLAMEOUT)
        out_s = None if out is None else out.announced_t_s
        changed = new_lit or out_s != self._out_s
        if mass is not None:
            changed = self._cell.look(mass, now) or changed
        if pot_mass is not None:
            changed = self._pot_cell.look(pot_mass, now) or changed
        if not changed and not self._load_watch.unsettled:
            return
        if changed:
            at_start = self._burning_at_start and self._lit_s is None
            self._loads = tell_apart(self._cell.steps, self._plan, self._lit_s, burning_at_start=at_start)
            self._out_s = out_s
            if out is not None and out_s is not None:
                # What is laid on char may be a tool, and is fuel once it burns.
                self._loads = without_late_fuel(self._loads, replace(out, t_s=out_s, u_s=0.0))
            self._pot_loads = tell_apart(self._pot_cell.steps, self._plan, None)
        found = self._loads.events + self._pot_loads.events
        self._load_watch.settle(found, self._sayings, now, newest_change_g(mass, now))

    # Water

    def _look_for_boil(self, grid: Grid, now: int) -> None:
        water = grid.get(Role.WATER)
        if water is None:
            return
        mass, pot_mass = grid.get(Role.MASS), grid.get(Role.POT_MASS)
        stays = self.stays
        if stays or mass is not None or pot_mass is not None:
            visit = stays[-1].window(float(now)) if stays else (0.0, float(now))
        else:
            visit = self._filling(water, now)
        if visit[1] < now - LIT_WINDOW_S:
            return
        boil = next((one for one in self._sayings.of_kind(EventKind.BOIL) if visit[0] <= one.t_s <= visit[1]), None)
        loss = None
        if mass is not None and pot_mass is None and now % LOOK_EVERY_S == 0:
            self._cell.mark(now)
            loss = partial(self._cell.loss, mass, now)
        taken = self._boil_watch.look(water, now, visit, boil, loss)
        if taken is None:
            return
        if boil is None:
            if taken.boil is not None:
                self._sayings.announce(taken.boil, now)
        elif taken.boil is not None:
            self._sayings.revise(self.tracked.announced.index(boil), taken.boil, now)
        else:
            self._sayings.retract(self.tracked.announced.index(boil), taken.back, now)

    def _filling(self, water: Column, now: int) -> tuple[float, float]:
        """Return the present filling of a pot that stands on no load cell."""
        return boil_windows((), water, now, weighed=False)[-1]

    # Flame

    def _look_for_flameout(self, grid: Grid, now: int) -> None:
        flame = grid.get(Role.FLAME)
        loss = self.loss(grid) if self._burns else None
        if not self._burns or not FlameWatch.sinking(loss.rate_g_s if loss is not None else None, flame, now):
            self._sinking_since = None
            return
        self._sinking_since = now if self._sinking_since is None else self._sinking_since
        if now - self._sinking_since > SLOWER_AFTER_S and now % SLOWER_EVERY_S:
            return
        found, fuel = self._end_of_flame(grid, now, self.apart(grid))
        if found is None:
            return
        rate = fuel.rate_g_s if fuel is not None else None
        sure = self._flame_watch.sure(found, rate, self._lit_s, self._fed(), flame)
        if sure and newest_change_g(grid.get(Role.MASS), now) <= FED_G:
            self._sayings.announce(as_announced(found, now), now)

    def _look_back_at_flameout(self, grid: Grid, now: int) -> None:
        out = self._sayings.newest(EventKind.FLAMEOUT)
        if out is None or now - out.t_s > RELIGHT_S:
            return
        apart = self.apart(grid)
        index = self.tracked.announced.index(out)
        why = self._flame_watch.back(out, apart[1].rate_g_s if apart is not None else None, grid.get(Role.FLAME), now)
        if why:
            self._sayings.retract(index, why, now)
        elif any(
            int((out.announced_t_s or 0.0) + after) // LOOK_EVERY_S == now // LOOK_EVERY_S for after in OUT_AGAIN_S
        ):
            found, _ = self._end_of_flame(grid, now, apart)
            if found is not None:
                # A fire ends once: what is found now is that end, however far from what was thought of it.
                self._sayings.revise(index, found, now)

    def apart(self, grid: Grid) -> tuple[tuple[WaterCourse, ...], LossRate] | None:
        """Return the water of every stay of the pot so far, and the fuel's own rate; None without a load cell.

        Args:
            grid: The record at the last look.
        """
        now, loss = grid.n, self.loss(grid)
        if loss is None:
            return None
        cell = channel_of(self._channels, Role.MASS)
        scale = scale_of(loss, self._loads, cell, self._plan.load_cell, grid.get(Role.CELL_TEMPERATURE))
        probe = channel_of(self._channels, Role.WATER)
        water_c = smooth_water(grid.get(Role.WATER), now)
        pot = PotCurves(water_c, probe, self._boil_watch.boiling_c, self._own_cell(grid, now))
        return apart_as_it_stands(scale, pot, self._plan, self.tracked.announced, now)

    def _end_of_flame(
        self, grid: Grid, now: int, apart: tuple[tuple[WaterCourse, ...], LossRate] | None
    ) -> tuple[Event | None, LossRate | None]:
        """Ask the detector; return what it finds, and the fuel's own rate."""
        flame = grid.get(Role.FLAME)
        lag_s = self._channels[Role.FLAME].time_constant_s if Role.FLAME in self._channels else 0.0
        water_c = smooth_water(grid.get(Role.WATER), now)
        courses, fuel = apart if apart is not None else ((), None)
        return end_of_flame(now, fuel, courses, self._loads, self._lit_s, flame, lag_s, water_c), fuel

    def _own_cell(self, grid: Grid, now: int) -> Scale | None:
        pot_mass = grid.get(Role.POT_MASS)
        if pot_mass is None:
            return None
        loss = self._pot_cell.loss(pot_mass, now)
        cell = channel_of(self._channels, Role.POT_MASS)
        return scale_of(loss, self._pot_loads, cell, cell_c=grid.get(Role.CELL_TEMPERATURE))

    def _fed(self) -> list[tuple[float, float]]:
        """Return when anything was laid on the fire that may have been fuel, and its size: it smothers for a while."""
        pots = [stay.on for stay in self._loads.stays]
        return [
            (step.t_s, float(step.size_g.nominal_value))
            for step in self._cell.steps
            if step.size_g.nominal_value > FED_G and not any(step is pot for pot in pots)
        ]


def known_beforehand(plan: Plan) -> Plan:
    """Return a plan without what can only be weighed afterwards: a live run must not know it."""
    fuel = replace(plan.fuel, char_left_g=None, unburnt_g=None, char_snuffed_s=None)
    load_cell = replace(plan.load_cell, shown_after_g=None, zero_drift_g=None, zero_drift_s=None)
    plan = replace(plan, fuel=fuel, load_cell=load_cell)
    if plan.pot is None:
        return plan
    visits = tuple(VisitPlan(visit.water_g) for visit in plan.pot.visits)
    return replace(plan, pot=replace(plan.pot, every=VisitPlan(plan.pot.every.water_g), visits=visits))


def track(grid: Grid, channels: Mapping[Role, Channel], plan: Plan) -> Tracked:
    """Run the tracker over a whole record as a live run would have."""
    tracker = Tracker(channels, plan)
    for second in range(1, grid.n + 1):
        tracker.look(grid.upto(second))
    return tracker.tracked
