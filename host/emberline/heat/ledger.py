"""The ledger: what stands on the load cell at each second, told apart into fuel and water."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat
from uncertainties.core import to_affine_scalar

from emberline.bench.plan import Plan
from emberline.curves.burning_rate import LossRate, typical_rate
from emberline.curves.events import Event, EventKind, Phase, first, last
from emberline.curves.fast_loss import flaming_level
from emberline.heat.account import Account, Visit
from emberline.heat.cell_check import error_about_zero
from emberline.heat.fuel_in import put_in_g, starter_of
from emberline.heat.scale import Scale
from emberline.heat.stay_seen import PotCurves, seconds_of
from emberline.heat.water_course import WaterCourse
from emberline.heat.water_probe import HANDS_S, WaterProbe, water_probe_of

Array = NDArray[np.float64]

SAME_MOMENT_S = 2.0
"""Distance within which an event and the end of a stay are one moment."""
LEVEL_S = 60.0
"""Seconds at its end over which a plateau is read."""
COOLER_K = 2.0
"""Standard uncertainty of how much cooler than its plateau water is once nobody reads it any more: over a fire it boils
on, over one that dies it falls by a kelvin a minute (common practice, no source)."""
KINDLED_SHARE = 0.6
"""Share of the flaming level at which kindling has become flaming."""


def build_account(
    scale: Scale | None,
    fuel: LossRate | None,
    courses: Sequence[WaterCourse],
    pot: PotCurves,
    plan: Plan,
    events: tuple[Event, ...],
    n: int,
) -> Account:
    """Draw up the account of a trial.

    Args:
        scale: The main load cell; None where there is none.
        fuel: The fuel's own mass and burning rate; None likewise.
        courses: The water of every stay.
        pot: What is measured of the pot.
        plan: What a person knows.
        events: All events.
        n: Seconds of the record.
    """
    t_s = np.arange(n, dtype=np.float64) + 0.5
    lit, flameout = first(events, EventKind.LIT), last(events, EventKind.FLAMEOUT)
    water_g = np.full(n, np.nan)
    visits = []
    probe = water_probe_of(pot.water_c, pot.probe)
    for index, course in enumerate(courses):
        visit = _visit(course, index, probe, plan, events, flameout)
        visits.append(visit)
        if visit.water_start_g is not None:
            inside = seconds_of(course.window, n)
            gone = np.cumsum(course.rate_g_s)
            water_g[inside] = float(visit.water_start_g.nominal_value) - gone[inside]

    def water_lost(a_s: float, b_s: float) -> UFloat | None:
        touched = [course for course in courses if course.window[0] < b_s and course.window[1] > a_s]
        parts = [course.lost_by(b_s) - course.lost_by(a_s) for course in touched]
        return sum(parts, to_affine_scalar(0.0)) if parts else None

    nothing = np.full(n, np.nan)
    if scale is None or fuel is None:
        phases = _phases(t_s, nothing, lit, flameout)
        return Account(
            t_s,
            nothing,
            nothing,
            water_g,
            nothing,
            nothing,
            phases,
            tuple(visits),
            None,
            _no_fuel_lost,
            False,
            water_lost,
        )
    on_main = courses if pot.own_cell is None else ()
    rate, u_rate = fuel.rate_g_s, fuel.u_rate_g_s
    # A curve that was smoothed with the water in it is rounded where steam stops as the pot is lifted, and steam drives
    # no draught.
    alone = replace(scale, loss=fuel, vigour_g_s=typical_rate(fuel.mass_g))

    def fuel_lost(a_s: float, b_s: float) -> UFloat:
        if not 0.0 <= a_s <= b_s <= n + 1.0:
            raise ValueError(f"{a_s:g} to {b_s:g} s is outside the record of {n} s")
        lost = alone.lost(a_s, b_s)
        for course in on_main:
            water = course.lost_by(b_s) - course.lost_by(a_s)
            lost += scale.load(water.nominal_value) - water
        return lost

    fuel_in = put_in_g(scale, plan)
    fuel_g, u_fuel_g = _fuel_curve(t_s, alone, on_main, plan, lit)
    phases = _phases(t_s, rate, lit, flameout)
    return Account(
        t_s,
        fuel_g,
        u_fuel_g,
        water_g,
        rate * 60.0,
        u_rate * 60.0,
        phases,
        tuple(visits),
        fuel_in,
        fuel_lost,
        True,
        water_lost,
    )


def _no_fuel_lost(a_s: float, b_s: float) -> UFloat:
    raise ValueError(f"no load cell: what was lost from {a_s:g} to {b_s:g} s is not known")


def _fuel_curve(
    t_s: Array, scale: Scale, courses: Sequence[WaterCourse], plan: Plan, lit: Event | None
) -> tuple[Array, Array]:
    if plan.fuel.mass_g is None or len(t_s) == 0:
        return np.full(len(t_s), np.nan), np.full(len(t_s), np.nan)
    kindling = float(plan.fuel.kindling_g.nominal_value) if plan.fuel.kindling_g is not None else 0.0
    begin = float(plan.fuel.mass_g.nominal_value) + starter_of(plan) + kindling
    mass_g = scale.loss.mass_g - scale.zero_course_g(t_s)
    reference = float(np.interp(lit.t_s if lit is not None else 0.0, t_s, mass_g))
    fuel = begin - (reference - mass_g)
    variance = scale.loss.u_mass_g**2 + float(plan.fuel.mass_g.std_dev) ** 2
    for course in courses:
        variance = variance + np.cumsum(course.u_rate_g_s) ** 2
    for step in scale.loads.refuels:
        fuel = fuel + np.where(t_s >= step.t_s, step.size_g.nominal_value, 0.0)
    variance = variance + scale.u_wander_g(np.maximum(t_s - (lit.t_s if lit is not None else 0.0), 0.0)) ** 2
    variance = variance + (float(scale.span.std_dev) * (begin - fuel)) ** 2
    return np.maximum(fuel, 0.0), np.sqrt(variance)


def _visit(
    course: WaterCourse, index: int, probe: WaterProbe, plan: Plan, events: tuple[Event, ...], flameout: Event | None
) -> Visit:
    on_s, end_s = course.window
    n = len(course.rate_g_s)
    boil = next((e for e in events if e.kind is EventKind.BOIL and on_s <= e.t_s <= end_s), None)
    until = min(end_s, flameout.t_s) if flameout is not None else end_s
    set_down = next((e for e in events if e.kind is EventKind.POT_ON and abs(e.t_s - on_s) <= SAME_MOMENT_S), None)
    start_c = probe.rising_from(on_s, 0.0) if set_down is None else probe.rising_from(set_down.t_s, set_down.u_s)
    if start_c is None and plan.pot is not None:
        start_c = plan.pot.water_start_c
    heat_end = probe.rising_to(until)
    heat_end_c, slope_k_s = heat_end if heat_end is not None else (None, 0.0)
    boil_c = probe.level(boil.t_s + 5.0, min(boil.t_s + 60.0, end_s)) if boil is not None else None
    if boil is not None and boil_c is not None and heat_end_c is not None and heat_end_c.n > boil_c.n - 1.0:
        # A plateau has no slope; a soft one still rises after its knee, so its end is read at its end.
        at_end = probe.level(max(boil.t_s + 5.0, until - LEVEL_S), until - HANDS_S)
        heat_end_c, slope_k_s = (boil_c if at_end is None else at_end), 0.0
    if heat_end_c is None and boil_c is not None:
        # Water that has boiled is hot, though its probe came out of it.
        heat_end_c = boil_c + error_about_zero(COOLER_K, "water_curve")
    if flameout is not None:
        slope_k_s = _unsure_slope_k_s(slope_k_s, flameout, probe, (on_s, end_s))
    water = plan.pot.visit(index).water_g if plan.pot is not None else None
    evaporated = course.lost_by(end_s + 1.0)  # the last second whole
    flaming = course.lost_by(until) if until > on_s else to_affine_scalar(0.0)
    return Visit(
        on_s,
        end_s if course.lifted else None,
        min(end_s, float(n)),
        boil.t_s if boil is not None else None,
        water,
        start_c,
        boil_c,
        heat_end_c,
        evaporated,
        flaming,
        course.known_by,
        slope_k_s,
        probe.mean_c(np.where(np.arange(n) < until, course.rate_g_s, 0.0)),
        probe.unread_s(on_s, min(end_s, float(n))),
    )


def _unsure_slope_k_s(here_k_s: float, end: Event, probe: WaterProbe, window: tuple[float, float]) -> float:
    """Return the water's slope over the stretch in which an unsure end of flame may lie, none outside of the window.

    Where that reaches back before the boil, a plateau's slope of none would tell of no doubt.
    """
    low, high = max(window[0], end.t_s - end.u_s), min(window[1], end.t_s + end.u_s)
    mean_k_s = probe.mean_slope_k_s(low, high)
    return here_k_s if mean_k_s is None else mean_k_s * (high - low) / (2.0 * end.u_s)


def _phases(t_s: Array, rate_g_s: Array, lit: Event | None, flameout: Event | None) -> tuple[Phase, ...]:
    if lit is None:
        return (Phase.WAITING,) * len(t_s)
    end_s = flameout.t_s if flameout is not None else np.inf
    level = flaming_level(rate_g_s, int(lit.t_s), int(min(end_s, len(t_s))))
    vigorous = np.flatnonzero((t_s > lit.t_s) & (rate_g_s > KINDLED_SHARE * level)) if level > 0 else np.zeros(0, int)
    kindled_s = float(t_s[vigorous[0]]) if len(vigorous) else lit.t_s + 120.0
    return tuple(
        Phase.WAITING
        if t < lit.t_s
        else Phase.CHAR
        if t >= end_s
        else Phase.KINDLING
        if t < kindled_s
        else Phase.FLAMING
        for t in t_s.tolist()
    )
