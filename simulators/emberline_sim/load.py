"""The weight and forces on a load cell, before its errors."""

import numpy as np
from numpy.typing import NDArray

from emberline_sim.air import wandering
from emberline_sim.course import STEP_S, Course
from emberline_sim.forms import FORMS
from emberline_sim.handling import Push, falling_in, hand_force_g, hand_weight_g, pushes_around, ramp
from emberline_sim.scenario import Scenario

SET_OVER_S = 0.8
LIFT_OVER_S = 0.9
TIPS_OVER_S = 0.6


def pot_load_g(t_s: NDArray[np.float64], scenario: Scenario, course: Course) -> NDArray[np.float64]:
    """Return (n,) the weight of pot, lid and water on what carries the pot, g; it moves over a second at each visit."""
    total = np.zeros_like(t_s)
    pot = scenario.pot
    if pot is None:
        return total
    ends = [*(visit.on_s for visit in course.visits[1:]), np.inf][: len(course.visits)]
    for visit, following in zip(course.visits, ends, strict=True):
        share = ramp(t_s, visit.on_s, SET_OVER_S)
        if visit.off_s is not None:
            share = share - ramp(t_s, visit.off_s, LIFT_OVER_S)
        # Just before the moment of setting on, the filling is that of the moment itself.
        inside = np.clip(t_s, visit.on_s + STEP_S, following)
        water_g = np.interp(inside, course.t_s, course.column["water_g"])
        total += share * (pot.tare_g + (pot.lid_g if pot.lid else 0.0) + water_g)
    return total


def pot_pushes_g(t_s: NDArray[np.float64], course: Course, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) the pushes of the hands that set the pot on and lift it, g."""
    pushes: list[Push] = []
    for visit in course.visits:
        if visit.on_s > 0.0:
            pushes += pushes_around(visit.on_s, 0.9, float(rng.uniform(1.0, 2.5)), 90.0, rng, leaning=0.4)
        if visit.off_s is not None:
            pushes += pushes_around(visit.off_s, float(rng.uniform(1.2, 3.0)), 1.2, 70.0, rng, leaning=-0.2)
    return _sum(t_s, pushes)


def fuel_load_g(
    t_s: NDArray[np.float64], scenario: Scenario, course: Course, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) the weight of fuel, char and starter, with each refuel falling in by hand, g."""
    smooth = course.column["fuel_g"] + course.column["starter_g"]
    total = np.zeros_like(t_s)
    for refuel in scenario.refuel:
        smooth = smooth - np.where(course.t_s > refuel.t_s, refuel.mass_g, 0.0)
        pieces = round(FORMS[scenario.fuel.form].pieces * refuel.mass_g / 100.0) if scenario.fuel is not None else 1
        total += refuel.mass_g * falling_in(t_s, refuel.t_s, refuel.over_s, pieces, rng)
        half_s = 0.5 * refuel.over_s
        total += _sum(t_s, pushes_around(refuel.t_s, half_s, half_s + 1.0, 15.0, rng, leaning=0.6))
    return total + np.interp(t_s, course.t_s, smooth)


def deeds_g(t_s: NDArray[np.float64], scenario: Scenario, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return (n,) the forces of pokes, bumps, lids, tools and of the lighting hand, g."""
    total = np.zeros_like(t_s)
    for hand in scenario.hand:
        if hand.kind == "tip":
            continue
        total += hand_force_g(t_s, hand, hand_weight_g(hand, scenario), rng)
    if scenario.fuel is not None:
        total += _sum(t_s, pushes_around(scenario.burn.lit_s, 1.5, 1.5, 2.5, rng, leaning=0.3))
    return total


def air_forces_g(
    t_s: NDArray[np.float64], course: Course, draught_g: float, wind_g_m2s2: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n,) the forces of draught (upward) and wind (either way, as the square of its speed), g."""
    sway = 0.3 + wandering(len(course.t_s), STEP_S, 2.0, rng)
    force = wind_g_m2s2 * course.column["wind_m_s"] ** 2 * sway - draught_g * course.column["draught"]
    return np.asarray(np.interp(t_s, course.t_s, force), dtype=np.float64)


def tipped_g(t_s: NDArray[np.float64], scenario: Scenario, load_g: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (n,) the load on the stove's cell where the stove may tip over, g: what is left on the cell after that."""
    for hand in scenario.hand:
        if hand.kind == "tip":
            gone = ramp(t_s, hand.t_s + TIPS_OVER_S, TIPS_OVER_S)
            load_g = (1.0 - gone) * load_g + gone * hand.size_g
    return load_g


def _sum(t_s: NDArray[np.float64], pushes: list[Push]) -> NDArray[np.float64]:
    total = np.zeros_like(t_s)
    for push in pushes:
        low, high = np.searchsorted(t_s, (push.from_s, push.from_s + push.for_s))
        total[low:high] += push.at(t_s[low:high])
    return total
