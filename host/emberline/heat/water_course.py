"""The water of every stay of the pot: how much had left by any moment, and how that is known.

What is known decides how, in this order: a second cell under the pot; the pot's own steps (what was set down less what
was lifted); a weight entered afterwards (the pot with its water, or the char); the heat balance alone. Whatever closes
the account, its course in time is that of `steam_model`.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.plan import Plan
from emberline.bench.water import latent_heat_j_g
from emberline.curves.burning_rate import LossRate, smooth_again
from emberline.curves.events import Event, EventKind, last
from emberline.curves.loads import Stay
from emberline.curves.robust import between_codes
from emberline.heat import evaporation
from emberline.heat.blind_share import BLIND_SHARE, BLIND_SHARE_U, looked_into, share_after_look
from emberline.heat.pot_weights import Closed, by_char_weight, by_steps, by_usual_char, weighted
from emberline.heat.scale import Scale
from emberline.heat.stay_seen import (
    PotCurves,
    StaySeen,
    pressure_pa,
    seconds_of,
    see_stay,
    stood,
)
from emberline.heat.steam_model import Coefficients, summed
from emberline.heat.unread_course import UnreadPot

Array = NDArray[np.float64]

AIR_C = 20.0
"""Temperature of the air where nobody says."""
COLD = 3.0
"""Standard uncertainties of a load cell's loss within which it shows no fire."""
WEIGHED_BEFORE = "what was weighed of the stays before"
"""How it is known what a pot takes up and loses that was lifted and set back."""
BLIND = "hardly: no probe tells the water's heat, and any share of the load's loss may be steam"
"""How the water of a warm pot is known of which nothing was measured."""
UNREAD = "hardly: no probe tells the water's heat, of which the fire's usual share is taken"
"""How the water of a cold pot is known of which nothing was measured."""


class WaterCourse:
    """The water that left the pot during one stay.

    Args:
        window: First and last second of the stay.
        lifted: Whether the pot was lifted at its end.
        rate_g_s: (n,) rate of loss, 0 outside the stay.
        unsure: Works out how each of some variables shifts the rate, (n,) each, and the variables; asked only when
            somebody wants to know.
        known_by: How it is known.
    """

    def __init__(
        self,
        window: tuple[float, float],
        lifted: bool,
        rate_g_s: Array,
        unsure: Callable[[], tuple[Sequence[Array], Sequence[UFloat]]],
        known_by: str,
    ) -> None:
        self.window = window
        self.lifted = lifted
        self.rate_g_s = rate_g_s
        self.known_by = known_by
        self._unsure = unsure

    @cached_property
    def _shifts(self) -> tuple[Sequence[Array], Sequence[UFloat]]:
        return self._unsure()

    @cached_property
    def _sums(self) -> list[Array]:
        return summed(self.rate_g_s, self._shifts[0])

    @cached_property
    def u_rate_g_s(self) -> Array:
        """Standard uncertainty of the rate, (n,)."""
        parts = [shift * float(variable.std_dev) for shift, variable in zip(*self._shifts, strict=True)]
        return np.asarray(np.sqrt(np.sum(np.square(parts), axis=0)))

    def lost_by(self, t_s: float) -> UFloat:
        """Return what had left by a moment, as an uncertain number of shared variables."""
        at = np.arange(len(self.rate_g_s) + 1, dtype=np.float64)
        values = [float(np.interp(t_s, at, total)) for total in self._sums]
        lost = to_affine_scalar(values[0])
        for value, variable in zip(values[1:], self._shifts[1], strict=True):
            lost += value * variable
        return lost


class WeighedCourse(WaterCourse):
    """The water of a pot on a load cell of its own: that cell's curve, bent until it ends where the pot's steps say.

    A smooth curve flattens what leaves fastest, in the last seconds before the pot is lifted; its steps do not.

    Args:
        cell: The pot's cell.
        stay: The stay.
        n: Seconds of the record.
        closed: What closes the account; None where the curve must do.
    """

    def __init__(self, cell: Scale, stay: Stay, n: int, closed: Closed | None) -> None:
        window = stood(stay, n)
        inside = seconds_of(window, n)
        rate = np.where(inside, np.maximum(cell.loss.rate_g_s, 0.0), 0.0)
        whole_g = cell.lost(*window)
        self._missing_g = closed.total_g - whole_g if closed is not None else to_affine_scalar(0.0)
        # What is missing left as the rest did.
        weight = rate if rate.sum() > 0.0 else inside.astype(np.float64)
        share = weight / (float(weight.sum()) or 1.0)
        super().__init__(
            window,
            stay.off is not None,
            rate if closed is None else np.maximum(rate + (closed.total_g.nominal_value - rate.sum()) * share, 0.0),
            lambda: ((), ()),
            "the pot stands on a load cell of its own",
        )
        self._cell = cell
        self._inside = inside
        self._share = np.concatenate(([0.0], np.cumsum(share)))

    @cached_property
    def u_rate_g_s(self) -> Array:
        """Standard uncertainty of the rate, (n,)."""
        return np.where(self._inside, self._cell.loss.u_rate_g_s, 0.0)

    def lost_by(self, t_s: float) -> UFloat:
        """Return what had left by a moment."""
        t_s = min(max(t_s, self.window[0]), self.window[1])
        share = float(np.interp(t_s, np.arange(len(self._share)), self._share))
        return self._cell.lost(self.window[0], t_s) + self._missing_g * share


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
        return tuple(_on_own_cell(pot.own_cell, plan, stay, index, n) for index, stay in enumerate(stays))
    if scale is None:
        return ()
    courses: list[WaterCourse] = []
    learnt: dict[bool, evaporation.PotHeat] = {}
    for index in range(len(scale.loads.stays)):
        courses.append(_from_balance(scale, pot, plan, events, index, n, _blind_share(scale, courses), learnt))
    return tuple(courses)


def _blind_share(scale: Scale, before: Sequence[WaterCourse]) -> tuple[float, float]:
    """Return the share of the loss that is water where no probe tells, as the stay before tells it, if any."""
    stays = scale.loads.stays
    if not before or not looked_into(stays[len(before) - 1], stays[len(before)]):
        return BLIND_SHARE, BLIND_SHARE_U
    inside = seconds_of(before[-1].window, len(before[-1].rate_g_s))
    loss_g = float(np.sum(np.maximum(scale.loss.rate_g_s[inside], 0.0)))
    return share_after_look(before[-1].lost_by(before[-1].window[1]), loss_g)


def _on_own_cell(cell: Scale, plan: Plan, stay: Stay, index: int, n: int) -> WeighedCourse:
    window = stood(stay, n)
    return WeighedCourse(cell, stay, n, by_steps(cell, plan, stay, index, window[1], [cell.lost(*window)]))


def _from_balance(
    scale: Scale,
    pot: PotCurves,
    plan: Plan,
    events: Sequence[Event],
    index: int,
    n: int,
    blind_share: tuple[float, float],
    learnt: dict[bool, evaporation.PotHeat],
) -> WaterCourse:
    """Follow the water of one stay; what it tells of the pot, with a lid or without, is entered into `learnt`."""
    stay = scale.loads.stays[index]
    seen = see_stay(scale, pot, plan, events, index, n, blind_share)
    window, model = seen.window, seen.model
    flameout = last(tuple(events), EventKind.FLAMEOUT)
    water_g = seen.water_g
    air_c = float(plan.place.ambient_c.nominal_value) if plan.place.ambient_c is not None else AIR_C
    heat = learnt[seen.lid] = evaporation.heat_from_ramp(
        learnt.get(seen.lid) or evaporation.expected_heat(seen.lid, water_g),
        np.where(model.inside, pot.water_c, np.nan),
        scale.loss.rate_g_s,
        model.drive,
        seen.ramp,
        water_g,
        plan.pot.heat_capacity_j_k if plan.pot is not None else None,
        air_c,
    )
    per_steam = (float(pot.boiling_c.nominal_value) - air_c) / latent_heat_j_g(float(pot.boiling_c.nominal_value))
    in_steam = np.array([1.0, 1.0, per_steam])
    coefficients = Coefficients(
        heat.below_g_s,
        heat.share,
        heat.wall_w_k * per_steam,
        heat.covariance * np.outer(in_steam, in_steam),
        evaporation.CHAR_RATIO,
        evaporation.CHAR_RATIO_U,
    )
    # A boil that is worked out and not read comes too early or too late, and then looks like a flame's end.
    unread = _unread(scale, pot, plan, index, seen, air_c) if flameout is not None else None
    if unread is not None:
        words = UNREAD
        rate, unsure = unread.standing()
    else:
        words = BLIND if model.blind[model.inside].all() else f"the heat balance alone ({heat.words})"
        rate, unsure = model.standing(coefficients)
    balance = WaterCourse(window, stay.off is not None, rate, unsure, words)
    closed = _closed(scale, plan, stay, index, flameout, pot, balance)
    if closed is None and not any(event.kind in (EventKind.LIT, EventKind.FLAMEOUT) for event in events):
        closed = _by_cold_cell(scale, window)
    if closed is None:
        return balance
    if index + 1 < len(scale.loads.stays):
        told = model.told_by(coefficients, closed.total_g, closed.until_s)
        covariance = told.covariance / np.outer(in_steam, in_steam)
        wall_w_k = told.wall_g_s / per_steam
        learnt[seen.lid] = evaporation.PotHeat(told.below_g_s, told.share, wall_w_k, covariance, WEIGHED_BEFORE)
    if unread is not None:
        rate, unsure = unread.closing(closed.total_g, closed.until_s)
    else:
        rate, unsure = model.closing(coefficients, closed.total_g, closed.until_s)
    return WaterCourse(window, stay.off is not None, rate, unsure, closed.known_by)


def _unread(scale: Scale, pot: PotCurves, plan: Plan, index: int, seen: StaySeen, air_c: float) -> UnreadPot | None:
    """Return a pot of cold water without a probe; None where it has one, or comes back warm from a look into it."""
    model, stays = seen.model, scale.loads.stays
    warm = index > 0 and looked_into(stays[index - 1], stays[index])
    if seen.water_g is None or seen.capacity_j_k is None or warm or not model.blind[model.inside].all():
        return None
    start_c = plan.pot.water_start_c if plan.pot is not None else None
    return UnreadPot(
        model.loss_g_s,
        model.inside,
        model.glowing,
        np.where(seen.lids, evaporation.LID_FACTOR, 1.0),
        seen.capacity_j_k,
        air_c if start_c is None else float(start_c.nominal_value),
        float(pot.boiling_c.nominal_value),
        air_c,
        pressure_pa(plan.place),
        *evaporation.sub_boiling_coefficient(False, seen.water_g),
    )


def _closed(
    scale: Scale,
    plan: Plan,
    stay: Stay,
    index: int,
    flameout: Event | None,
    pot: PotCurves,
    balance: WaterCourse,
) -> Closed | None:
    """Return what closes the account of a stay, the surest first; None where the heat balance stands alone."""
    window = balance.window
    only = len(scale.loads.stays) == 1
    usual = by_usual_char(scale, plan, flameout) if only else None
    if usual is not None and usual.until_s <= window[0]:
        usual = None  # A pot set down after the flame stood over none of the fuel that this accounts for.
    weighed = _by_weighing(plan, pot, index, window)
    if stay.off is not None:
        witnesses = [balance.lost_by(window[1])]
        if usual is not None:
            witnesses.append(usual.total_g + balance.lost_by(window[1]) - balance.lost_by(usual.until_s))
        closed = by_steps(scale, plan, stay, index, window[1], witnesses)
        if closed is not None and weighed is not None:
            words = f"{closed.known_by}, and {weighed.known_by}"
            closed = replace(closed, total_g=weighted(closed.total_g, weighed.total_g), known_by=words)
        if closed is not None:
            return closed
    if weighed is not None:
        return weighed
    if not only:
        return None
    closed = by_char_weight(scale, plan, window[1], flameout) if stay.off is None else None
    if closed is not None and closed.until_s <= window[0]:
        closed = None
    if closed is None and usual is not None:
        closed = replace(usual, known_by=f"{balance.known_by}, together with {usual.known_by}")
    if closed is None:
        return None
    return replace(closed, total_g=weighted(closed.total_g, balance.lost_by(closed.until_s)))


def _by_cold_cell(scale: Scale, window: tuple[float, float]) -> Closed | None:
    """Close the account of a pot under which nothing burnt by the cell's loss; None where that is more than drift."""
    lost = scale.lost(*window)
    if lost.nominal_value > COLD * lost.std_dev:
        return None
    return Closed(lost, window[1], "nothing burnt: all that the load cell lost")


def _by_weighing(plan: Plan, pot: PotCurves, index: int, window: tuple[float, float]) -> Closed | None:
    """Close the account of a stay by a person's weights of its water, None without both."""
    visit = plan.pot.visit(index) if plan.pot is not None else None
    if visit is None or visit.water_g is None or visit.final_water_g is None:
        return None
    lost = visit.water_g - visit.final_water_g
    if visit.final_water_delay_s is not None:
        lost -= _lost_while_cooling(plan, pot, visit.final_water_delay_s, window)
    return Closed(lost, window[1], "the water was weighed before and afterwards")


def _lost_while_cooling(plan: Plan, pot: PotCurves, delay_s: UFloat, window: tuple[float, float]) -> UFloat:
    """Return what the hot pot lost between leaving the stove and being weighed.

    It cools toward the air over some ten minutes, and its loss with it.
    """
    known = np.flatnonzero(np.isfinite(pot.water_c[: int(window[1])]))
    hot_c = float(pot.water_c[known[-1]]) if len(known) else 90.0
    lid = plan.pot is not None and plan.pot.lid
    coefficient, u = evaporation.sub_boiling_coefficient(lid, None)
    seconds = np.arange(0.0, max(float(delay_s.nominal_value), 1.0))
    cooling = 20.0 + (hot_c - 20.0) * np.exp(-seconds / 1_500.0)
    drive = float(np.sum(evaporation.vapour_drive(cooling, pressure_pa(plan.place))))
    per_second = drive / len(seconds)
    return ufloat(coefficient, u, "evaporation_model") * drive + coefficient * per_second * (
        delay_s - delay_s.nominal_value
    )


def without_water(read_g: Array, courses: Sequence[WaterCourse], loss: LossRate) -> LossRate:
    """Return the mass and burning rate of the fuel alone: the water's course is put back before smoothing.

    Taking its rate off afterwards instead would leave a bump wherever steam starts or stops in the smoother's reach.

    Args:
        read_g: (n,) mass with steps taken out, NaN where spoilt, read between its codes.
        courses: The water of every stay.
        loss: The same curve smoothed with the water in it.
    """
    # A second's reading stands for its middle.
    gone = np.sum([np.cumsum(course.rate_g_s) - 0.5 * course.rate_g_s for course in courses], axis=0)
    return smooth_again(read_g + gone, loss)


def told_apart(
    bare_g: Array, scale: Scale, pot: PotCurves, plan: Plan, events: Sequence[Event]
) -> tuple[tuple[WaterCourse, ...], LossRate]:
    """Tell fuel from water on one load cell.

    Steam follows the fuel's rate and the fuel's rate is what steam leaves, so each is worked out from the other, twice.

    Returns:
        The water of every stay, and the fuel's mass and burning rate.
    """
    n = len(bare_g)
    courses = water_courses(scale, pot, plan, events, n)
    if pot.own_cell is not None or not courses:
        return courses, scale.loss
    read_g = between_codes(bare_g)
    for _ in range(2):
        fuel = without_water(read_g, courses, scale.loss)
        total = fuel.rate_g_s + np.sum([course.rate_g_s for course in courses], axis=0)
        courses = water_courses(replace(scale, loss=replace(scale.loss, rate_g_s=total)), pot, plan, events, n)
    fuel = without_water(read_g, courses, scale.loss)
    variance = fuel.u_rate_g_s**2 + np.sum([course.u_rate_g_s**2 for course in courses], axis=0)
    return courses, replace(fuel, u_rate_g_s=np.sqrt(variance))
