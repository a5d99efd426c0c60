"""The ledger: what the load cell lost, told apart into fuel and water.

What is known decides how, in this order: a second cell under the pot; the pot's own steps (what was set down less what was
lifted); a weight entered afterwards (the pot with its water, or the char); the heat balance alone. Whatever closes the
account, its course in time follows `evaporation`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.air import boiling_point, pressure_at_altitude_pa
from emberline.bench.channels import Channel
from emberline.bench.plan import Plan
from emberline.curves.burning_rate import LossRate
from emberline.curves.events import Event, EventKind, Phase, first, last
from emberline.curves.flameout import flaming_level
from emberline.curves.loads import Loads, Stay
from emberline.heat import evaporation
from emberline.heat.account import Account, Visit

Array = NDArray[np.float64]

KINDLED_SHARE = 0.6
"""Share of the flaming level at which kindling has become flaming."""


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """What the load cell says, with its errors as shared variables.

    Attributes:
        loss: Smoothed mass without steps, its rate, and their uncertainties.
        loads: The steps, told apart.
        span: The span's relative error, a variable about zero.
        drift_g_h: The zero's drift, a variable about zero.
    """

    loss: LossRate
    loads: Loads
    span: UFloat
    drift_g_h: UFloat

    def lost(self, a_s: float, b_s: float) -> UFloat:
        """Return what left the cell between two moments, steps not counted."""
        seconds = np.arange(len(self.loss.mass_g)) + 0.5
        at = np.interp([a_s, b_s], seconds, self.loss.mass_g)
        noise = np.interp([a_s, b_s], seconds, self.loss.u_mass_g)
        lost = ufloat(float(at[0] - at[1]), float(np.hypot(*noise)), "mass_curve")
        for event in self.loads.events:
            if a_s < event.t_s <= b_s and event.size_g is not None:
                lost += event.size_g - event.size_g.nominal_value
        return lost * (1 + self.span) + self.drift_g_h * ((b_s - a_s) / 3600.0)

    def load(self, size_g: UFloat) -> UFloat:
        """Return the true weight of a step."""
        return size_g * (1 + self.span)


def scale_of(loss: LossRate, loads: Loads, channel: Channel) -> Scale:
    """Attach a channel's span and drift errors to a smoothed mass curve."""
    return Scale(
        loss, loads, _error(channel.u_scale, "load_cell_span"), _error(channel.u_drift_per_hour, "load_cell_drift")
    )


def _error(u: float, tag: str) -> UFloat:
    """Return an error about zero; exactly zero where nothing is uncertain."""
    return ufloat(0.0, u, tag) if u > 0 else to_affine_scalar(0.0)


@dataclass(frozen=True, slots=True, eq=False)
class PotCurves:
    """What is measured of the pot itself.

    Attributes:
        water_c: (n,) smoothed water temperature, NaN where unknown.
        u_bias_k: Standard uncertainty of the probe.
        boiling_c: Local boiling temperature.
        own_cell: The pot's own load cell, where fitted.
    """

    water_c: Array
    u_bias_k: float
    boiling_c: UFloat
    own_cell: Scale | None = None


@dataclass(frozen=True, slots=True, eq=False)
class WaterCourse:
    """The water that left the pot during one stay.

    Attributes:
        window: First and last second of the stay.
        rate_g_s: (n,) rate of loss, 0 outside the stay.
        u_rate_g_s: (n,) its standard uncertainty.
        lost_by: What had left by a moment, as an uncertain number of shared variables.
        known_by: How it is known.
    """

    window: tuple[float, float]
    rate_g_s: Array
    u_rate_g_s: Array
    lost_by: Callable[[float], UFloat]
    known_by: str


def water_courses(
    scale: Scale | None, pot: PotCurves, plan: Plan, events: Sequence[Event], n: int
) -> tuple[WaterCourse, ...]:
    """Follow the water of every stay of the pot.

    Args:
        scale: The main load cell; None where there is none.
        pot: What is measured of the pot.
        plan: What a person knows.
        events: The events so far; boils mark where steam begins, a flameout where char takes over.
        n: Seconds of the record.
    """
    if pot.own_cell is not None:
        stays = pot.own_cell.loads.stays or (Stay(None, None),)
        return tuple(_weighed_apart(pot.own_cell, stay, n) for stay in stays)
    if scale is None:
        return ()
    return tuple(
        _from_balance(scale, pot, plan, events, index, n) for index in range(len(_stays(scale.loads, plan, pot)))
    )


def _stays(loads: Loads, plan: Plan, pot: PotCurves) -> tuple[Stay, ...]:
    """Return the pot's stays; a planned pot of which no step tells stood there all the time if its water warmed."""
    if loads.stays or plan.pot is None:
        return loads.stays
    known = pot.water_c[np.isfinite(pot.water_c)]
    warmed = len(known) > 0 and float(np.max(known) - known[0]) > 5.0
    return (Stay(None, None),) if warmed or len(known) == 0 else ()


def _weighed_apart(cell: Scale, stay: Stay, n: int) -> WaterCourse:
    window = stay.window(float(n))
    inside = _seconds(window, n)
    rate = np.where(inside, np.maximum(cell.loss.rate_g_s, 0.0), 0.0)
    u_rate = np.where(inside, cell.loss.u_rate_g_s, 0.0)

    def lost_by(t_s: float) -> UFloat:
        return cell.lost(window[0], min(max(t_s, window[0]), window[1]))

    return WaterCourse(window, rate, u_rate, lost_by, "the pot stands on a load cell of its own")


def _seconds(window: tuple[float, float], n: int) -> NDArray[np.bool_]:
    t = np.arange(n) + 0.5
    return np.asarray((t >= window[0]) & (t < window[1]))


class _Model:
    """The course of one stay's water for given coefficients."""

    def __init__(self, drive: Array, total_rate: Array, boiling: Array, glowing: Array, inside: Array) -> None:
        self._drive, self._total = drive, np.maximum(total_rate, 0.0)
        self._boiling, self._glowing, self._inside = boiling, glowing, inside

    def rate(self, coefficient: float, share: float, char_ratio: float) -> Array:
        """Return the rate of water's loss, g/s."""
        steam = share * np.where(self._glowing, char_ratio, 1.0)
        boiling = self._total * steam / (1.0 + steam)
        below = np.minimum(coefficient * self._drive, np.maximum(self._total, 0.3 * coefficient * self._drive))
        return np.where(self._inside, np.where(self._boiling, boiling, below), 0.0)


def _from_balance(scale: Scale, pot: PotCurves, plan: Plan, events: Sequence[Event], index: int, n: int) -> WaterCourse:
    stay = _stays(scale.loads, plan, pot)[index]
    window = stay.window(float(n))
    inside = _seconds(window, n)
    boil = next((e for e in events if e.kind is EventKind.BOIL and window[0] <= e.t_s <= window[1]), None)
    flameout = last(tuple(events), EventKind.FLAMEOUT)
    t = np.arange(n) + 0.5
    pressure = _pressure_pa(plan)
    lid = plan.pot is not None and plan.pot.lid
    coefficient, u_coefficient = evaporation.sub_boiling_coefficient(lid)
    drive = evaporation.vapour_drive(pot.water_c, pressure)
    boiling = _boiling(t, boil, pot, inside)
    glowing = t > flameout.t_s if flameout is not None else np.zeros(n, dtype=bool)
    ramp_end = int(boil.t_s) if boil is not None else int(min(window[1], flameout.t_s if flameout is not None else n))
    water_g = plan.pot.visit(index).water_g if plan.pot is not None else None
    share = evaporation.steam_share(
        pot.water_c,
        scale.loss.rate_g_s,
        (int(window[0]), min(ramp_end, n)),
        water_g,
        plan.pot.heat_capacity_j_k if plan.pot is not None else None,
        coefficient * drive * inside,
    )
    model = _Model(drive, scale.loss.rate_g_s, boiling, glowing, inside)
    start = (coefficient, share.value, evaporation.CHAR_RATIO)
    u = (u_coefficient, share.u, evaporation.CHAR_RATIO_U)
    total, until_s, known_by = _closed_total(scale, plan, stay, index, window, flameout, pot)
    if total is None:
        return _open_course(model, start, u, window, f"the heat balance alone ({share.words})")
    return _closed_course(model, start, u, window, total, until_s, known_by)


def _boiling(t: Array, boil: Event | None, pot: PotCurves, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the seconds in which the water boils: from the boil on, while it stays within 1.5 K of its plateau."""
    if boil is None:
        return np.zeros(len(t), dtype=bool)
    after = inside & (t >= boil.t_s)
    level = pot.water_c[after][5:65]
    if not np.isfinite(level).any():
        return np.asarray(after)
    plateau = float(np.nanmedian(level))
    return np.asarray(after & ~(pot.water_c < plateau - 1.5))


def _pressure_pa(plan: Plan) -> float:
    if plan.place.pressure_pa is not None:
        return float(plan.place.pressure_pa.nominal_value)
    altitude = plan.place.altitude_m
    return float(pressure_at_altitude_pa(float(altitude.nominal_value) if altitude is not None else 300.0))


def _closed_total(
    scale: Scale,
    plan: Plan,
    stay: Stay,
    index: int,
    window: tuple[float, float],
    flameout: Event | None,
    pot: PotCurves,
) -> tuple[UFloat | None, float, str]:
    """Return the water lost by a moment from whatever closes the account, that moment, and how."""
    visit = plan.pot.visit(index) if plan.pot is not None else None
    tare = plan.pot.tare_g if plan.pot is not None else None
    if stay.on is not None and stay.off is not None:
        return scale.load(stay.on.size_g + stay.off.size_g), window[1], "the pot was weighed going on and coming off"
    if visit is not None and visit.water_g is not None:
        if stay.off is not None and tare is not None:
            lid = plan.pot.lid_g if plan.pot is not None and plan.pot.lid and plan.pot.lid_g is not None else 0.0
            left = -scale.load(stay.off.size_g) - tare - lid
            return visit.water_g - left, window[1], "the pot was weighed coming off, its water before"
        if visit.final_water_g is not None:
            lost = visit.water_g - visit.final_water_g
            if visit.final_water_delay_s is not None:
                lost -= _lost_while_cooling(plan, pot, visit.final_water_delay_s, window)
            return lost, window[1], "the water was weighed before and afterwards"
    fuel = plan.fuel
    single = stay.off is None and index == 0
    if single and fuel.char_left_g is not None and fuel.mass_g is not None:
        until = window[1]
        u_burnt = 0.15 * float(fuel.char_left_g.nominal_value)
        if fuel.char_snuffed_s is not None and flameout is not None:
            until = min(window[1], flameout.t_s + float(fuel.char_snuffed_s.nominal_value))
            u_burnt = 0.0
        burnt = (
            fuel.mass_g
            + (fuel.kindling_g or 0.0)
            + (fuel.starter_g or 0.0)
            - fuel.char_left_g
            - (fuel.unburnt_g or 0.0)
        )
        burnt += sum(scale.load(step.size_g) for step in scale.loads.refuels)
        unknown = ufloat(0.0, u_burnt + 1.0, "char_burnt_before_weighing")
        lost = scale.lost(0.0, until) - burnt + unknown
        return lost, until, "the char was weighed afterwards"
    return None, window[1], ""


def _lost_while_cooling(plan: Plan, pot: PotCurves, delay_s: UFloat, window: tuple[float, float]) -> UFloat:
    """Return what the hot pot lost between leaving the stove and being weighed.

    It cools toward the air over some ten minutes, and its loss with it.
    """
    known = np.flatnonzero(np.isfinite(pot.water_c[: int(window[1])]))
    hot_c = float(pot.water_c[known[-1]]) if len(known) else 90.0
    lid = plan.pot is not None and plan.pot.lid
    coefficient, u = evaporation.sub_boiling_coefficient(lid)
    seconds = np.arange(0.0, max(float(delay_s.nominal_value), 1.0))
    cooling = 20.0 + (hot_c - 20.0) * np.exp(-seconds / 1_500.0)
    drive = float(np.sum(evaporation.vapour_drive(cooling, _pressure_pa(plan))))
    per_second = drive / len(seconds)
    return ufloat(coefficient, u, "evaporation_model") * drive + coefficient * per_second * (
        delay_s - delay_s.nominal_value
    )


def _open_course(
    model: _Model,
    start: tuple[float, float, float],
    u: tuple[float, float, float],
    window: tuple[float, float],
    known_by: str,
) -> WaterCourse:
    """Follow the model as it stands, each coefficient an independent input."""
    rate = model.rate(*start)
    shifts = [model.rate(*_nudged(start, i, u[i])) - rate for i in range(3)]
    variables = [ufloat(0.0, 1.0, tag) for tag in ("evaporation_model", "steam_share", "evaporation_model")]
    return _course(window, rate, shifts, variables, known_by)


def _closed_course(
    model: _Model,
    start: tuple[float, float, float],
    u: tuple[float, float, float],
    window: tuple[float, float],
    total: UFloat,
    until_s: float,
    known_by: str,
) -> WaterCourse:
    """Bend the model so that its sum by `until_s` is what was weighed."""
    coefficient, share, ratio = start
    target = max(float(total.nominal_value), 0.0)
    rate = _closing(model, start, until_s, target)
    # A gram more in the account, and the same account with other coefficients.
    step = max(float(total.std_dev), 0.5)
    per_gram = (_closing(model, start, until_s, target + step) - rate) / step
    other = [_closing(model, _nudged((coefficient, share, ratio), i, u[i]), until_s, target) - rate for i in (0, 2)]
    rest = total - total.nominal_value
    variables = [rest, ufloat(0.0, 1.0, "evaporation_model"), ufloat(0.0, 1.0, "evaporation_model")]
    return _course(window, rate, [per_gram, *other], variables, known_by)


def _closing(model: _Model, start: tuple[float, float, float], until_s: float, target: float) -> Array:
    """Return the rates whose sum by `until_s` is `target`, by bending steam first and the law below boiling then."""
    coefficient, share, ratio = start
    k = int(until_s)

    def total(c: float, s: float) -> float:
        return float(np.sum(model.rate(c, s, ratio)[:k]))

    below = total(coefficient, 0.0)
    if total(coefficient, 50.0) - below > max(5.0, 0.3 * target) and target > below:
        low, high = 0.0, 50.0
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if total(coefficient, middle) < target else (low, middle)
        return _scaled(model.rate(coefficient, 0.5 * (low + high), ratio), k, target)
    return _scaled(
        model.rate(coefficient, share if below <= 0 else 0.0, ratio) if below else model.rate(*start), k, target
    )


def _scaled(rate: Array, k: int, target: float) -> Array:
    """Return the rates scaled to their sum; spread evenly over the stay where the model sees none."""
    total = float(np.sum(rate[:k]))
    return rate * (target / total) if total > 0 else rate


def _nudged(values: tuple[float, float, float], index: int, by: float) -> tuple[float, float, float]:
    moved = list(values)
    moved[index] += by
    return moved[0], moved[1], moved[2]


def _course(
    window: tuple[float, float], rate: Array, shifts: Sequence[Array], variables: Sequence[UFloat], known_by: str
) -> WaterCourse:
    sums = [np.concatenate(([0.0], np.cumsum(array))) for array in (rate, *shifts)]
    u_rate = np.sqrt(sum((shift * variable.std_dev) ** 2 for shift, variable in zip(shifts, variables, strict=True)))

    def lost_by(t_s: float) -> UFloat:
        at = np.arange(len(rate) + 1, dtype=np.float64)
        values = [float(np.interp(t_s, at, total)) for total in sums]
        lost = to_affine_scalar(values[0])
        for value, variable in zip(values[1:], variables, strict=True):
            lost += value * variable
        return lost

    return WaterCourse(window, rate, np.asarray(u_rate), lost_by, known_by)


def fuel_rate(scale: Scale, courses: Sequence[WaterCourse]) -> tuple[Array, Array]:
    """Return the burning rate of the fuel and its standard uncertainty, g/s: the cell's loss less the water's."""
    rate = scale.loss.rate_g_s.copy()
    variance = scale.loss.u_rate_g_s**2
    for course in courses:
        rate = rate - course.rate_g_s
        variance = variance + course.u_rate_g_s**2
    return rate, np.sqrt(variance)


def build_account(
    scale: Scale | None,
    courses: Sequence[WaterCourse],
    pot: PotCurves,
    plan: Plan,
    events: tuple[Event, ...],
    n: int,
) -> Account:
    """Draw up the account of a trial."""
    t_s = np.arange(n) + 0.5
    lit, flameout = first(events, EventKind.LIT), last(events, EventKind.FLAMEOUT)
    water_g = np.full(n, np.nan)
    visits = []
    for index, course in enumerate(courses):
        visit = _visit(course, index, pot, plan, events, flameout)
        visits.append(visit)
        if visit.water_start_g is not None:
            inside = _seconds(course.window, n)
            gone = np.cumsum(course.rate_g_s)
            water_g[inside] = float(visit.water_start_g.nominal_value) - gone[inside]
    nothing = np.full(n, np.nan)
    if scale is None:
        phases = _phases(t_s, nothing, lit, flameout)
        return Account(
            t_s, nothing, nothing, water_g, nothing, nothing, phases, tuple(visits), None, _no_fuel_lost, False
        )
    on_main = courses if pot.own_cell is None else ()
    rate, u_rate = fuel_rate(scale, on_main)

    def fuel_lost(a_s: float, b_s: float) -> UFloat:
        if not 0.0 <= a_s <= b_s <= n + 1.0:
            raise ValueError(f"{a_s:g} to {b_s:g} s is outside the record of {n} s")
        lost = scale.lost(a_s, b_s)
        for course in on_main:
            lost -= course.lost_by(b_s) - course.lost_by(a_s)
        return lost

    fuel_in = _fuel_in(scale, plan, lit)
    fuel_g, u_fuel_g = _fuel_curve(t_s, scale, on_main, plan, lit)
    phases = _phases(t_s, rate, lit, flameout)
    return Account(
        t_s, fuel_g, u_fuel_g, water_g, rate * 60.0, u_rate * 60.0, phases, tuple(visits), fuel_in, fuel_lost, True
    )


def _no_fuel_lost(a_s: float, b_s: float) -> UFloat:
    raise ValueError(f"no load cell: what was lost from {a_s:g} to {b_s:g} s is not known")


def _fuel_in(scale: Scale, plan: Plan, lit: Event | None) -> UFloat | None:
    if plan.fuel.mass_g is None:
        return None
    total = plan.fuel.mass_g + (plan.fuel.kindling_g if plan.fuel.kindling_g is not None else 0.0)
    for index, step in enumerate(scale.loads.refuels):
        planned = plan.refuels[index].mass_g if index < len(plan.refuels) else None
        total += planned if planned is not None else scale.load(step.size_g)
    return total


def _fuel_curve(
    t_s: Array, scale: Scale, courses: Sequence[WaterCourse], plan: Plan, lit: Event | None
) -> tuple[Array, Array]:
    if plan.fuel.mass_g is None:
        return np.full(len(t_s), np.nan), np.full(len(t_s), np.nan)
    starter = float(plan.fuel.starter_g.nominal_value) if plan.fuel.starter_g is not None else 0.0
    kindling = float(plan.fuel.kindling_g.nominal_value) if plan.fuel.kindling_g is not None else 0.0
    begin = float(plan.fuel.mass_g.nominal_value) + starter + kindling
    reference = float(np.interp(lit.t_s if lit is not None else 0.0, t_s, scale.loss.mass_g))
    fuel = begin - (reference - scale.loss.mass_g)
    variance = scale.loss.u_mass_g**2 + float(plan.fuel.mass_g.std_dev) ** 2
    for course in courses:
        fuel = fuel + np.cumsum(course.rate_g_s)
        variance = variance + np.cumsum(course.u_rate_g_s) ** 2
    for step in scale.loads.refuels:
        fuel = fuel + np.where(t_s >= step.t_s, step.size_g.nominal_value, 0.0)
    since_lit = np.maximum(t_s - (lit.t_s if lit is not None else 0.0), 0.0) / 3600.0
    variance = variance + (float(scale.drift_g_h.std_dev) * since_lit) ** 2
    variance = variance + (float(scale.span.std_dev) * (begin - fuel)) ** 2
    return np.maximum(fuel, 0.0), np.sqrt(variance)


def _visit(
    course: WaterCourse, index: int, pot: PotCurves, plan: Plan, events: tuple[Event, ...], flameout: Event | None
) -> Visit:
    on_s, end_s = course.window
    n = len(course.rate_g_s)
    boil = next((e for e in events if e.kind is EventKind.BOIL and on_s <= e.t_s <= end_s), None)
    off = next((e for e in events if e.kind is EventKind.POT_OFF and abs(e.t_s - end_s) < 1.0), None)
    until = min(end_s, flameout.t_s) if flameout is not None else end_s
    # One probe: its constant error is the same variable at every reading, so differences are better than values.
    bias = _error(pot.u_bias_k, "water_probe")
    start_c = _reading(pot.water_c, on_s + 2.0, on_s + 12.0, bias)
    if start_c is None and plan.pot is not None:
        start_c = plan.pot.water_start_c
    heat_end_c = _reading(pot.water_c, until - 12.0, until - 2.0, bias)
    boil_c = _reading(pot.water_c, boil.t_s + 5.0, min(boil.t_s + 60.0, end_s), bias) if boil is not None else None
    if boil is not None and boil_c is not None and heat_end_c is not None and heat_end_c.n > boil_c.n - 1.0:
        heat_end_c = boil_c
    water = plan.pot.visit(index).water_g if plan.pot is not None else None
    evaporated = course.lost_by(end_s)
    flaming = course.lost_by(until) if until > on_s else to_affine_scalar(0.0)
    return Visit(
        on_s,
        off.t_s if off is not None else None,
        min(end_s, float(n)),
        boil.t_s if boil is not None else None,
        water,
        start_c,
        boil_c,
        heat_end_c,
        evaporated,
        flaming,
        course.known_by,
    )


def _reading(water_c: Array, a_s: float, b_s: float, bias: UFloat) -> UFloat | None:
    piece = water_c[max(0, int(a_s)) : max(0, int(b_s)) + 1]
    piece = piece[np.isfinite(piece)]
    if len(piece) == 0:
        return None
    return float(np.median(piece)) + ufloat(0.0, 0.1, "water_curve") + bias


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


def local_boiling_point(plan: Plan, measured_pa: float | None = None) -> UFloat:
    """Return the local boiling temperature; a measured pressure takes precedence over the plan."""
    if measured_pa is None:
        return boiling_point(plan.place)
    place = type(plan.place)(pressure_pa=ufloat(measured_pa, 100.0, "pressure"))
    return boiling_point(place)
