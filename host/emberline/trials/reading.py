"""Reading a record: from the grid to events, in the order in which they depend on each other.

Steps come first, because nothing may be differentiated across one; then lighting, which tells a refuel from a load put
on before; then boils, which tell steam from fuel; then the end of flame, on a burning rate from which steam is taken
off.
The final pass reads a whole record this way; a live run (`trials.tracker`) asks the same detectors in the same order,
each when it may have something new to say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import Place, boiling_point, in_highlands
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan
from emberline.bench.water import heat_capacity_j_gk
from emberline.curves.boil import WaterProbe, find_boils
from emberline.curves.boil_odds import HIGHLANDS, PRIOR
from emberline.curves.burning_rate import LossRate, noise_of, smooth
from emberline.curves.events import Event, EventKind
from emberline.curves.flameout import Stands, find_flameout
from emberline.curves.grid import Column, Grid
from emberline.curves.ignition import begun_mid_burn, find_lit
from emberline.curves.late_fuel import without_late_fuel
from emberline.curves.load_words import loads_by_words, no_pot_stood
from emberline.curves.loads import Loads, Stay, with_standing_pot
from emberline.curves.mass_steps import MassStep, find_steps, masked
from emberline.curves.out_of_water import without_air
from emberline.curves.pot_beside import boils_beside
from emberline.curves.pot_cools import turn_to_cooling
from emberline.curves.refuel_weights import by_weights
from emberline.curves.robust import running_median, without_spikes
from emberline.curves.words import Word, with_words
from emberline.heat.fuel_in import put_in_g, starter_of
from emberline.heat.scale import Scale, scale_of
from emberline.heat.stay_seen import PotCurves
from emberline.heat.water_course import WaterCourse, told_apart, water_courses
from emberline.heat.water_probe import BRIDGED_S

Array = NDArray[np.float64]

LEAST_PRESSURE_PA, MOST_PRESSURE_PA = 40_000.0, 110_000.0
"""Air pressures that a place on land can have; a sensor that reads another is broken and not believed."""
WARMED_K = 15.0
"""Rise of the water's temperature that no sun gives: a fire is under the pot."""
HOT_WITHIN_K = 1.0
"""Distance from its hottest at which water over a fire has come to a level."""
POTS = (EventKind.POT_ON, EventKind.POT_OFF)
"""Kinds of events that a load cell under the pot sees."""
MORE_THAN_ALL = 1.02
"""What a load cell loses over the fuel put in, above which it lost water too: a kitchen balance and a cell may be a
hundredth apart each."""
REFILL_K = 12.0
"""Fall of the water's temperature that, without a load cell, tells a fresh pot from the old one."""


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What the detectors make of a record, or of its part so far.

    Attributes:
        events: All events in order of time.
        scale: The main load cell's reading; None without one.
        pot: What is measured of the pot.
        courses: The water of every stay.
        fuel: The fuel's own mass and burning rate; None without a load cell.
        lit_s: When the fuel caught; None where it did not or the record began mid-burn.
        refuels: Refuelling steps.
        boiling_point_c: Local boiling temperature.
        place: What that rests on.
    """

    events: tuple[Event, ...]
    scale: Scale | None
    pot: PotCurves
    courses: tuple[WaterCourse, ...]
    fuel: LossRate | None
    lit_s: float | None
    refuels: tuple[MassStep, ...]
    boiling_point_c: UFloat
    place: Place

    def true_size(self, event: Event) -> UFloat | None:
        """Return an event's load with the cell's span in its uncertainty; None where the event has no load."""
        if event.size_g is None:
            return None
        cell = (
            self.pot.own_cell
            if self.pot.own_cell is not None and event in self.pot.own_cell.loads.events
            else self.scale
        )
        return cell.load(event.size_g) if cell is not None else event.size_g


def read_record(grid: Grid, channels: Mapping[Role, Channel], plan: Plan, *, words: Sequence[Word] = ()) -> Reading:
    """Find all events of a record and take the water off its mass loss, looking both ways in time.

    Args:
        grid: The record.
        channels: The bench's channels by role; what is missing is assumed.
        plan: What a person knows.
        words: What a person says of events, in place of what the detectors find, and remarks.
    """
    n = grid.n
    place = place_of(grid, plan)
    boiling = boiling_point(place)
    mass, flame, water = grid.get(Role.MASS), grid.get(Role.FLAME), grid.get(Role.WATER)
    events: list[Event] = [word.event for word in words if word.kind is EventKind.NOTE and word.event is not None]
    flame_lag = channels[Role.FLAME].time_constant_s if Role.FLAME in channels else 0.0

    found = () if mass is None else find_steps(mass)
    bare = masked(mass, found) if mass is not None else None
    level = bare if bare is not None else np.full(n, np.nan)
    noise = noise_of(level)
    starter_g = starter_of(plan)
    lit = find_lit(level, noise, flame, flame_lag_s=flame_lag, starter_g=starter_g)
    burning_at_start = lit is None and begun_mid_burn(level, noise, flame, starter_g=starter_g)
    lits = _by_words(EventKind.LIT, () if lit is None else (lit,), words)
    events += lits
    lit_s = lits[0].t_s if lits else None

    own_cell = _own_cell(grid, channels, plan, words)
    on_main = words if own_cell is None else [word for word in words if word.kind not in POTS]
    loads = loads_by_words(found, plan, lit_s, on_main, burning_at_start=burning_at_start)
    if mass is not None and (steps := by_weights(loads, plan)) != loads.steps:
        loads = loads_by_words(steps, plan, lit_s, on_main, burning_at_start=burning_at_start)
        bare = masked(mass, steps)
    loss = smooth(bare) if bare is not None else None
    water_c = smooth_water(water, n)
    # A pot of which no step tells stood there all the time.
    stood = plan.pot is not None and not loads.stays and _warmed(water_c) and not no_pot_stood(words)
    alone = loads
    if mass is not None and own_cell is None and stood:
        loads = with_standing_pot(loads)
    stays = own_cell.loads.stays if own_cell is not None and own_cell.loads.stays else loads.stays
    water_c = without_air(water_c, stays, loads.steps)

    scale = None
    if loss is not None:
        cell = channel_of(channels, Role.MASS)
        scale = scale_of(loss, loads, cell, plan.load_cell, grid.get(Role.CELL_TEMPERATURE))
    pot = PotCurves(water_c, channel_of(channels, Role.WATER), boiling, own_cell)
    if water is not None:
        windows = boil_windows(stays, water, n, mass is not None or own_cell is not None)
        rate = loss.rate_g_s if loss is not None and own_cell is None else None
        boils = find_boils(water, windows, boiling, probe_of(channels), rate)
        if not boils and place.pressure_pa is None and place.altitude_m is None:
            high = in_highlands(place)
            boils = find_boils(water, windows, boiling_point(high), probe_of(channels), rate, prior=PRIOR + HIGHLANDS)
            if boils:
                place, boiling = high, boiling_point(high)
                pot = replace(pot, boiling_c=boiling)
        if loads is not alone and scale is not None and boils and _beside(plan, scale, water_c, boils[0]):
            loads, scale = alone, replace(scale, loads=alone)
        events += _boils_by_words(boils, windows, words)
    else:
        events += _by_words(EventKind.BOIL, (), words)

    events += loads.events + (own_cell.loads.events if own_cell is not None else ())
    courses, fuel = _apart(bare, scale, pot, plan, events, n)
    burnt = lit_s is not None or burning_at_start
    flameout = end_of_flame(n, fuel, courses, loads, lit_s, flame, flame_lag, water_c) if burnt else None
    out = _by_words(EventKind.FLAMEOUT, (flameout,) if flameout is not None else (), words)
    if out:
        in_time = without_late_fuel(loads, out[0])
        if in_time is not loads:
            events = [event for event in events if event not in loads.events] + list(in_time.events)
            loads = in_time
            scale = replace(scale, loads=loads) if scale is not None else None
        # Glowing char raises more steam a gram than flame does: the water's course again, now that its end is known.
        courses, fuel = _apart(bare, scale, pot, plan, [*events, *out], n)
    events += out
    events.sort(key=lambda event: event.t_s)
    return Reading(tuple(events), scale, pot, courses, fuel, lit_s, loads.refuels, boiling, place)


def end_of_flame(
    n: int,
    fuel: LossRate | None,
    courses: Sequence[WaterCourse],
    loads: Loads,
    lit_s: float | None,
    flame: Column | None,
    flame_lag_s: float,
    water_c: Array,
) -> Event | None:
    """Find the end of flame on the fuel's own rate of loss; None where there is none (yet).

    Args:
        n: Seconds of the record.
        fuel: The fuel's mass and rate, water taken off; None without a load cell.
        courses: The water of every stay.
        loads: The changes of load.
        lit_s: When the fuel caught.
        flame: The flame probe's column, where fitted.
        flame_lag_s: Its time constant.
        water_c: (n,) smoothed water temperature, NaN where unknown.
    """
    turn, stands = None, None
    if loads.stays and fuel is not None:
        stay = loads.stays[-1]
        on_s, off_s = stay.window(float(n))
        turn = turn_to_cooling(water_c, int(on_s), int(off_s))
        stood_c = water_c[int(on_s) : int(off_s)]
        known = np.isfinite(stood_c)
        hot_s = on_s + int(np.argmax(stood_c > np.nanmax(stood_c) - HOT_WITHIN_K)) if known.any() else 0.0
        stands = Stands(off_s, not known.any(), hot_s)
    steaming = np.any([course.rate_g_s > 0.02 for course in courses], axis=0) if courses else None
    return find_flameout(
        fuel.rate_g_s if fuel is not None else np.full(n, np.nan),
        lit_s,
        [step.t_s for step in loads.refuels],
        flame,
        u_rate_g_s=fuel.u_rate_g_s if fuel is not None else None,
        flame_lag_s=flame_lag_s,
        steaming=steaming,
        turn=turn,
        stands=stands,
    )


def _apart(
    bare: Array | None, scale: Scale | None, pot: PotCurves, plan: Plan, events: Sequence[Event], n: int
) -> tuple[tuple[WaterCourse, ...], LossRate | None]:
    """Tell fuel from water where there is a load cell to tell them on."""
    if scale is None or bare is None:
        return water_courses(scale, pot, plan, events, n), None
    return told_apart(bare, scale, pot, plan, events)


def apart_as_it_stands(
    scale: Scale, pot: PotCurves, plan: Plan, events: Sequence[Event], n: int
) -> tuple[tuple[WaterCourse, ...], LossRate]:
    """Take the water's rate off the smoothed one, once: enough for a live run, which asks every few seconds.

    The final pass (`heat.water_course.told_apart`) puts the water's course back before smoothing: that leaves no bump
    where steam starts or stops, and costs passes of the smoother over the whole record.
    """
    courses = water_courses(scale, pot, plan, events, n)
    if pot.own_cell is not None or not courses:
        return courses, scale.loss
    steam = np.sum([course.rate_g_s for course in courses], axis=0)
    return courses, replace(scale.loss, rate_g_s=scale.loss.rate_g_s - steam)


def _by_words(kind: EventKind, found: Sequence[Event], words: Sequence[Word]) -> list[Event]:
    """Return the events of a kind: a person's, and the detectors' where no person says otherwise."""
    return with_words(found, [word for word in words if word.kind is kind])


def _boils_by_words(
    boils: Sequence[Event], windows: Sequence[tuple[float, float]], words: Sequence[Word]
) -> list[Event]:
    """Return the boils: a person's, and the detectors' where no person names another in the same stretch.

    Water boils once in each; what a person adds takes no other stretch's place, however near that one's boil is.
    """
    mine = [word for word in words if word.kind is EventKind.BOIL]
    said = [word.event for word in mine if word.event is not None]
    named = [(low, high) for low, high in windows if any(low <= event.t_s <= high for event in said)]
    found = [boil for boil in boils if not any(low <= boil.t_s <= high for low, high in named)]
    left = with_words(found, [word for word in mine if word.found_s is not None])
    return left + [word.event for word in mine if word.found_s is None and word.event is not None]


def channel_of(channels: Mapping[Role, Channel], role: Role) -> Channel:
    """Return a role's channel, or the one that is assumed where nobody described it."""
    return channels[role] if role in channels else default_channel(role)


def probe_of(channels: Mapping[Role, Channel]) -> WaterProbe:
    """Return what is known of the probe in the pot."""
    channel = channel_of(channels, Role.WATER)
    return WaterProbe(channel.u_bias, channel.time_constant_s, channel.u_time_constant_s)


def _own_cell(grid: Grid, channels: Mapping[Role, Channel], plan: Plan, words: Sequence[Word]) -> Scale | None:
    """Read the pot's own load cell, where fitted."""
    column = grid.get(Role.POT_MASS)
    if column is None or not np.isfinite(column.value).any():
        return None
    steps = find_steps(column)
    loss: LossRate = smooth(masked(column, steps))
    loads = loads_by_words(steps, plan, None, _on_pots_cell(words))
    return scale_of(loss, loads, channel_of(channels, Role.POT_MASS), cell_c=grid.get(Role.CELL_TEMPERATURE))


def _on_pots_cell(words: Sequence[Word]) -> list[Word]:
    """Return what a person's words mean to a cell under the pot: pots, and steps that it saw and that were none."""
    steps = [Word(word.kind, word.found_s, None) for word in words if word.kind is EventKind.STEP and word.found_s]
    return [*(word for word in words if word.kind in POTS), *steps]


def _beside(plan: Plan, scale: Scale, water_c: Array, boil: Event) -> bool:
    """Tell whether the plan's pot boiled beside the load cell.

    Not where nobody knows how much water was in it, nor where the cell lost more than all the fuel that was put in.
    """
    water_g = plan.pot.visit(0).water_g if plan.pot is not None else None
    if plan.pot is None or water_g is None:
        return False
    total_g = put_in_g(scale, plan)
    if total_g is not None:
        most_g = MORE_THAN_ALL * (float(total_g.nominal_value) + starter_of(plan))
        if float(np.nansum(scale.loss.rate_g_s)) > most_g:
            return False
    pot_j_k = plan.pot.heat_capacity_j_k
    water_j_gk = float(heat_capacity_j_gk(float(water_c[np.isfinite(water_c)].max())))
    capacity_j_k = water_j_gk * float(water_g.nominal_value) + (
        0.0 if pot_j_k is None else float(pot_j_k.nominal_value)
    )
    return boils_beside(scale.loss.rate_g_s, water_c, boil.t_s, capacity_j_k)


def _warmed(water_c: Array) -> bool:
    """Tell whether the water was heated in this record."""
    known = water_c[np.isfinite(water_c)]
    return len(known) > 0 and float(np.max(known)) - float(np.median(known[:20])) > WARMED_K


def smooth_water(water: Column | None, n: int) -> Array:
    """Return the water's temperature without spikes and flicker, short gaps bridged."""
    if water is None:
        return np.full(n, np.nan)
    value = without_spikes(water.value, floor=0.1)
    known = np.flatnonzero(np.isfinite(value))
    if len(known) < 3:
        return value
    t = np.arange(n)
    bridged = np.interp(t, known, value[known])
    after = np.searchsorted(known, t).clip(0, len(known) - 1)
    before = (np.searchsorted(known, t, side="right") - 1).clip(0)
    far = np.minimum(np.abs(known[after] - t), np.abs(known[before] - t)) > BRIDGED_S
    median = running_median(bridged, 3)
    median[far] = np.nan
    return median


def boil_windows(stays: Sequence[Stay], water: Column, n: int, weighed: bool) -> list[tuple[float, float]]:
    """Return the stretches in each of which water may come to the boil once."""
    if stays:
        return [stay.window(float(n)) for stay in stays]
    if weighed:
        return [(0.0, float(n))]
    windows, begin, top = [], 0, -np.inf
    value = without_spikes(water.value, floor=0.1)
    for second in np.flatnonzero(np.isfinite(value)):
        top = max(top, value[second])
        if value[second] < top - REFILL_K and top > 60.0:
            windows.append((float(begin), float(second)))
            begin, top = int(second), float(value[second])
    windows.append((float(begin), float(n)))
    return windows


def place_of(grid: Grid, plan: Plan) -> Place:
    """Return the place of the plan; a measured pressure takes precedence over it."""
    column = grid.get(Role.PRESSURE)
    if column is None or not np.isfinite(column.value).any():
        return plan.place
    pressure_pa = float(np.nanmedian(column.value))
    if not LEAST_PRESSURE_PA < pressure_pa < MOST_PRESSURE_PA:
        return plan.place
    measured = ufloat(pressure_pa, 100.0, "pressure")
    return Place(pressure_pa=measured, ambient_c=plan.place.ambient_c)
