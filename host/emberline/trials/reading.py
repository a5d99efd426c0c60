"""Reading a record: from the grid to events, in the order in which they depend on each other.

Steps come first, because nothing may be differentiated across one; then lighting, which tells a refuel from a load put
on before; then boils, which tell steam from fuel; then the end of flame, on a burning rate from which steam is taken
off.
The live tracker and the final pass both read this way.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.bench.air import Place, boiling_point
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan
from emberline.curves.boil import HOLD_LIVE_S, HOLD_S, WaterProbe, find_boils
from emberline.curves.burning_rate import LossRate, noise_of, smooth
from emberline.curves.events import Event, EventKind
from emberline.curves.flameout import find_flameout
from emberline.curves.grid import Column, Grid
from emberline.curves.ignition import find_lit, loss_trigger
from emberline.curves.loads import Stay, tell_apart, with_standing_pot
from emberline.curves.mass_steps import MassStep, find_steps, masked
from emberline.curves.robust import without_spikes
from emberline.heat.scale import Scale, scale_of
from emberline.heat.water_course import PotCurves, WaterCourse, told_apart, water_courses

Array = NDArray[np.float64]

LEAST_PRESSURE_PA, MOST_PRESSURE_PA = 40_000.0, 110_000.0
"""Air pressures that a place on land can have; a sensor that reads another is broken and not believed."""
WARMED_K = 15.0
"""Rise of the water's temperature that no sun gives: a fire is under the pot."""
REFILL_K = 12.0
"""Fall of the water's temperature that, without a load cell, tells a fresh pot from the old one."""


@dataclass(frozen=True, slots=True, eq=False)
class SoFar:
    """What a live run already knows, so that a look need not begin anew.

    Attributes:
        steps: Steps that have settled.
        loss: Smoothed mass and rate, kept up to date.
        lit: When the fuel caught, once known.
        boils: Boils already found.
        flameout: The end of flame already found.
        look_for_boil: Whether to look for a boil now.
        look_for_flameout: Whether to look for the end of flame now.
    """

    steps: tuple[MassStep, ...]
    loss: LossRate | None
    lit: Event | None
    boils: tuple[Event, ...]
    flameout: Event | None
    look_for_boil: bool
    look_for_flameout: bool


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
    """

    events: tuple[Event, ...]
    scale: Scale | None
    pot: PotCurves
    courses: tuple[WaterCourse, ...]
    fuel: LossRate | None
    lit_s: float | None
    refuels: tuple[MassStep, ...]
    boiling_point_c: UFloat

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


def read_record(
    grid: Grid,
    channels: Mapping[Role, Channel],
    plan: Plan,
    *,
    person_events: Sequence[Event] = (),
    so_far: SoFar | None = None,
) -> Reading:
    """Find all events of a record and take the water off its mass loss.

    Args:
        grid: The record.
        channels: The bench's channels by role; what is missing is assumed.
        plan: What a person knows.
        person_events: Events set by a person; each takes the place of the detectors' own of its kind.
        so_far: What a live run knows already; None reads the whole record anew.
    """
    n = grid.n
    boiling = boiling_point(_place(grid, plan))
    mass, flame, water = grid.get(Role.MASS), grid.get(Role.FLAME), grid.get(Role.WATER)
    events: list[Event] = [event for event in person_events if event.kind is EventKind.NOTE]
    flame_lag = channels[Role.FLAME].time_constant_s if Role.FLAME in channels else 0.0

    found = () if mass is None else so_far.steps if so_far is not None else find_steps(mass)
    loss, burning_at_start, bare = so_far.loss if so_far is not None else None, False, None
    if so_far is None:
        bare = masked(mass, found) if mass is not None else None
        level = bare if bare is not None else np.full(n, np.nan)
        noise = noise_of(level)
        lit = find_lit(level, noise, flame, flame_lag_s=flame_lag)
        burning_at_start = lit is None and loss_trigger(level, noise) is not None
        loss = smooth(bare) if bare is not None else None
    else:
        lit = so_far.lit
    lit = next((event for event in person_events if event.kind is EventKind.LIT), lit)
    if lit is not None:
        events.append(lit)
    lit_s = lit.t_s if lit is not None else None

    loads = tell_apart(found, plan, lit_s, burning_at_start=burning_at_start)
    own_cell = _own_cell(grid, channels, plan)
    water_c = _smooth_water(water, n)
    # Looking back, a pot of which no step tells stood there all the time; in a live run it may just be on its way.
    standing = so_far is None and mass is not None and own_cell is None and plan.pot is not None
    if standing and not loads.stays and _warmed(water_c):
        loads = with_standing_pot(loads)
    scale = scale_of(loss, loads, _channel(channels, Role.MASS)) if loss is not None else None
    events += loads.events + (own_cell.loads.events if own_cell is not None else ())

    pot = PotCurves(water_c, _channel(channels, Role.WATER), boiling, own_cell)
    if water is not None:
        boils = so_far.boils if so_far is not None else ()
        if so_far is None or so_far.look_for_boil:
            stays = own_cell.loads.stays if own_cell is not None and own_cell.loads.stays else loads.stays
            windows = _boil_windows(stays, water, n, mass is not None or own_cell is not None)
            open_windows = [(a, b) for a, b in windows if not any(a <= boil.t_s <= b for boil in boils)]
            rate = loss.rate_g_s if loss is not None and own_cell is None else None
            hold_s = HOLD_S if so_far is None else HOLD_LIVE_S
            boils += find_boils(water, open_windows, boiling, _probe(channels), rate, hold_s=hold_s)
        events += _chosen(EventKind.BOIL, boils, person_events)

    courses, fuel = _apart(bare, scale, pot, plan, events, n)
    flameout = so_far.flameout if so_far is not None else None
    if so_far is None or so_far.look_for_flameout:
        steaming = np.any([course.rate_g_s > 0.02 for course in courses], axis=0) if courses else None
        refuels = [step.t_s for step in loads.refuels]
        rate = fuel.rate_g_s if fuel is not None else np.full(n, np.nan)
        flameout = find_flameout(rate, lit_s, refuels, flame, flame_lag_s=flame_lag, steaming=steaming)
    out = _chosen(EventKind.FLAMEOUT, (flameout,) if flameout is not None else (), person_events)
    if out and so_far is None:
        # Glowing char raises more steam a gram than flame does: the water's course again, now that its end is known.
        courses, fuel = _apart(bare, scale, pot, plan, [*events, *out], n)
    events += out
    events.sort(key=lambda event: event.t_s)
    return Reading(tuple(events), scale, pot, courses, fuel, lit_s, loads.refuels, boiling)


def _apart(
    bare: Array | None, scale: Scale | None, pot: PotCurves, plan: Plan, events: Sequence[Event], n: int
) -> tuple[tuple[WaterCourse, ...], LossRate | None]:
    """Tell fuel from water: thoroughly where the bare curve is at hand, else on the rates as they stand."""
    if scale is not None and bare is not None:
        return told_apart(bare, scale, pot, plan, events)
    courses = water_courses(scale, pot, plan, events, n)
    if scale is None or pot.own_cell is not None:
        return courses, scale.loss if scale is not None else None
    steam = np.sum([course.rate_g_s for course in courses], axis=0) if courses else 0.0
    return courses, replace(scale.loss, rate_g_s=scale.loss.rate_g_s - steam)


def _chosen(kind: EventKind, found: tuple[Event, ...], person_events: Sequence[Event]) -> tuple[Event, ...]:
    """Return a person's events of a kind, or else the detectors'."""
    own = tuple(event for event in person_events if event.kind is kind)
    return own or found


def _channel(channels: Mapping[Role, Channel], role: Role) -> Channel:
    return channels[role] if role in channels else default_channel(role)


def _probe(channels: Mapping[Role, Channel]) -> WaterProbe:
    channel = _channel(channels, Role.WATER)
    return WaterProbe(channel.u_bias, channel.time_constant_s, channel.u_time_constant_s)


def _own_cell(grid: Grid, channels: Mapping[Role, Channel], plan: Plan) -> Scale | None:
    """Read the pot's own load cell, where fitted."""
    column = grid.get(Role.POT_MASS)
    if column is None or not np.isfinite(column.value).any():
        return None
    steps = find_steps(column)
    loss: LossRate = smooth(masked(column, steps))
    return scale_of(loss, tell_apart(steps, plan, None), _channel(channels, Role.POT_MASS))


def _warmed(water_c: Array) -> bool:
    """Tell whether the water was heated in this record."""
    known = water_c[np.isfinite(water_c)]
    return len(known) > 0 and float(np.max(known)) - float(np.median(known[:20])) > WARMED_K


def _smooth_water(water: Column | None, n: int) -> Array:
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
    far = np.minimum(np.abs(known[after] - t), np.abs(known[before] - t)) > 15
    padded = np.pad(bridged, 3, mode="edge")
    median = np.median(np.lib.stride_tricks.sliding_window_view(padded, 7), axis=1)
    median[far] = np.nan
    return np.asarray(median)


def _boil_windows(stays: Sequence[Stay], water: Column, n: int, weighed: bool) -> list[tuple[float, float]]:
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


def _place(grid: Grid, plan: Plan) -> Place:
    """Return the place of the plan; a measured pressure takes precedence over it."""
    column = grid.get(Role.PRESSURE)
    if column is None or not np.isfinite(column.value).any():
        return plan.place
    pressure_pa = float(np.nanmedian(column.value))
    if not LEAST_PRESSURE_PA < pressure_pa < MOST_PRESSURE_PA:
        return plan.place
    measured = ufloat(pressure_pa, 100.0, "pressure")
    return Place(pressure_pa=measured, ambient_c=plan.place.ambient_c)
