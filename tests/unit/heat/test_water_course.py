"""The water of a pot by all that can be known of it, against a burn of which it is known second by second."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from uncertainties import UFloat, ufloat

from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import Plan, empty_plan
from emberline.curves.burning_rate import LossRate, smooth
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import grid_of
from emberline.curves.loads import tell_apart, with_standing_pot
from emberline.curves.mass_steps import MassStep, find_steps, masked
from emberline.heat.scale import scale_of
from emberline.heat.stay_seen import PotCurves, seconds_of
from emberline.heat.water_course import WaterCourse, water_courses, without_water
from stove_fixture import BOILING_C, Stove, Told, told

LIFTED = Stove()
KEPT = Stove(pot_off_s=None)


@cache
def known(level: str) -> tuple[Stove, Told]:
    """Return a stove, and its record told apart with what a person of that level knows."""
    match level:
        case "lifted":
            return LIFTED, told(LIFTED)
        case "weighed afterwards":
            final_g = KEPT.water_g - KEPT.evaporated_g()
            return KEPT, told(KEPT, KEPT.plan(final_water_g=ufloat(final_g, 2.0, "pot.final_water_g")))
        case "char weighed":
            plan = KEPT.plan()
            char_g = KEPT.fuel_g - KEPT.burnt_g(0.0, KEPT.n)
            snuffed_s = ufloat(KEPT.n - KEPT.flameout_s, 5.0, "fuel.char_snuffed_s")
            char = ufloat(char_g, 2.0, "fuel.char_left_g")
            fuel = replace(plan.fuel, char_left_g=char, char_snuffed_s=snuffed_s)
            return KEPT, told(KEPT, replace(plan, fuel=fuel))
        case "heat balance":
            return KEPT, told(KEPT)
        case "water not weighed":
            return KEPT, told(KEPT, replace(KEPT.plan(), pot=None))
    raise AssertionError(level)


LEVELS = ("lifted", "weighed afterwards", "char weighed", "heat balance", "water not weighed")


@pytest.mark.parametrize("level", LEVELS)
def test_what_evaporated_is_found_within_what_is_stated(level: str) -> None:
    stove, apart = known(level)
    (course,) = apart.courses
    lost = course.lost_by(course.window[1])
    assert abs(lost.nominal_value - stove.evaporated_g()) < 2.5 * lost.std_dev
    at_boil = course.lost_by(stove.boil_s)
    assert abs(at_boil.nominal_value - stove.evaporated_g(stove.boil_s)) < 2.5 * max(at_boil.std_dev, 0.3)


def test_the_less_is_known_the_less_is_stated() -> None:
    relative = []
    for level in LEVELS:
        _, apart = known(level)
        (course,) = apart.courses
        lost = course.lost_by(course.window[1])
        relative.append(lost.std_dev / lost.nominal_value)
    assert relative[0] < relative[3] / 3.0
    assert relative[1] < relative[2] < relative[3] < relative[4]


def test_it_is_said_how_the_water_is_known() -> None:
    words = {level: known(level)[1].courses[0].known_by for level in LEVELS}
    assert "going on and coming off" in words["lifted"]
    assert "before and afterwards" in words["weighed afterwards"]
    assert "char was weighed" in words["char weighed"]
    assert "heat balance alone" in words["heat balance"]
    assert "what the ramp" in words["water not weighed"]


def test_what_a_pot_lost_is_exactly_its_steps() -> None:
    _, apart = known("lifted")
    (course,) = apart.courses
    on, off = (event.size_g for event in apart.events if event.kind in (EventKind.POT_ON, EventKind.POT_OFF))
    assert on is not None
    assert off is not None
    lost = course.lost_by(course.window[1])
    assert lost.nominal_value == pytest.approx(on.nominal_value + off.nominal_value)
    assert float(np.sum(course.rate_g_s)) == pytest.approx(lost.nominal_value)
    # Both were weighed on one cell: its span counts on the difference only.
    assert lost.std_dev < 1.0


def test_water_that_was_weighed_too_counts_beside_the_pots_steps() -> None:
    final_g = LIFTED.water_g - LIFTED.evaporated_g()
    by_steps = known("lifted")[1].courses[0].lost_by(LIFTED.n)
    for off_g, both in ((0.0, True), (40.0, False)):
        plan = LIFTED.plan(final_water_g=ufloat(final_g - off_g, 0.3, "pot.final_water_g"))
        (course,) = told(LIFTED, plan).courses
        lost = course.lost_by(LIFTED.n)
        assert "going on and coming off" in course.known_by
        assert "weighed before and afterwards" in course.known_by
        # Two accounts that agree are surer than one; two that do not are as unsure as they differ.
        assert abs(lost.nominal_value - LIFTED.evaporated_g()) < 2.0 * lost.std_dev
        assert (lost.std_dev < by_steps.std_dev) == both


def test_the_fuels_balance_at_flameout_says_nothing_of_a_pot_set_down_later() -> None:
    late = Stove(pot_on_s=1130.0, pot_off_s=None, n=1800)
    (course,) = told(late).courses
    lost = course.lost_by(late.n)
    assert "char" not in course.known_by
    assert lost.std_dev > 0.1 * lost.nominal_value
    assert abs(lost.nominal_value - late.evaporated_g()) < 2.5 * lost.std_dev
    weighed = replace(late.plan().fuel, char_left_g=ufloat(30.0, 0.5), char_snuffed_s=ufloat(20.0, 5.0))
    (other,) = told(late, replace(late.plan(), fuel=weighed)).courses
    assert other.lost_by(late.n).nominal_value == pytest.approx(lost.nominal_value)


def test_a_second_cell_weighs_the_water_itself() -> None:
    pot_alone = KEPT.tare_g + KEPT.water_g - np.cumsum(KEPT.water_rate_g_s)
    stands = KEPT.t_s > (KEPT.pot_on_s or 0.0)
    reading = np.where(stands, pot_alone, 0.0) + np.random.default_rng(3).normal(0.0, 0.05, KEPT.n)
    column = replace(grid_of(KEPT.curves()).columns[Role.MASS], value=reading)
    steps = find_steps(column)
    cell = scale_of(smooth(masked(column, steps)), tell_apart(steps, KEPT.plan(), None), default_channel(Role.POT_MASS))
    _, apart = known("heat balance")
    (course,) = water_courses(apart.scale, replace(apart.pot, own_cell=cell), KEPT.plan(), apart.events, KEPT.n)
    assert "load cell of its own" in course.known_by
    lost = course.lost_by(course.window[1])
    assert abs(lost.nominal_value - KEPT.evaporated_g()) < 2.5 * lost.std_dev
    # Less sure than two weighings a minute apart, since it drifts meanwhile; far surer than any balance.
    assert lost.std_dev < 0.2 * known("heat balance")[1].courses[0].lost_by(KEPT.n).std_dev


@pytest.mark.parametrize("steam", [24.0, 0.6])
def test_a_second_cell_goes_by_the_pots_steps_where_it_is_lifted(steam: float) -> None:
    # Steam leaves ever faster for the last minute: a smooth curve cuts that corner, two weighings do not.
    on_s, off_s = int(LIFTED.pot_on_s or 0), int(LIFTED.pot_off_s or 0)
    t_s = np.arange(LIFTED.n) + 0.5
    steam_g = steam * np.clip((t_s - (off_s - 60.0)) / 60.0, 0.0, 1.0) ** 2
    stands = (t_s > on_s) & (t_s < off_s)
    pot_g = np.where(stands, LIFTED.tare_g + LIFTED.water_g - steam_g, 0.0)
    reading = pot_g + np.random.default_rng(3).normal(0.0, 0.3, LIFTED.n)
    column = replace(grid_of(LIFTED.curves()).columns[Role.MASS], value=reading)
    steps = find_steps(column)
    loads = tell_apart(steps, LIFTED.plan(), None)
    cell = scale_of(smooth(masked(column, steps)), loads, default_channel(Role.POT_MASS))
    _, apart = known("lifted")
    (course,) = water_courses(apart.scale, replace(apart.pot, own_cell=cell), LIFTED.plan(), apart.events, LIFTED.n)
    lost = course.lost_by(course.window[1])
    on, off = (step.size_g for step in steps)
    assert lost.nominal_value == pytest.approx(on.nominal_value + off.nominal_value)
    assert abs(lost.nominal_value - steam) < 1.0
    assert abs(lost.nominal_value - steam) < 2.5 * lost.std_dev
    assert float(np.sum(course.rate_g_s)) == pytest.approx(lost.nominal_value, abs=0.3)
    assert course.lost_by(course.window[0]).nominal_value == pytest.approx(0.0)


@pytest.mark.parametrize("level", LEVELS)
def test_water_and_fuel_have_their_own_rates(level: str) -> None:
    stove, apart = known(level)
    (course,) = apart.courses
    boils = (stove.t_s > stove.boil_s + 40.0) & (stove.t_s < min(course.window[1], stove.flameout_s) - 80.0)
    water = np.mean(course.rate_g_s[boils]) - np.mean(stove.water_rate_g_s[boils])
    assert abs(water) < 2.5 * max(float(np.mean(course.u_rate_g_s[boils])), 0.004)
    fuel = np.mean(apart.fuel.rate_g_s[boils]) - np.mean(stove.fuel_rate_g_s[boils])
    assert abs(fuel) < 2.5 * max(float(np.mean(apart.fuel.u_rate_g_s[boils])), 0.004)


def test_a_pot_under_which_nothing_burns_loses_no_more_than_the_cell_may_have_missed() -> None:
    n = 900
    level = np.ones(n)
    mass = 1500.0 + np.random.default_rng(5).normal(0.0, 0.02, n)
    mass[100:] += 900.0
    steps = (MassStep(99, 102, ufloat(900.0, 0.1, "mass_step"), 900.0, ufloat(100.0, 0.3)),)
    loss = LossRate(mass - 900.0 * (np.arange(n) >= 100), 0.0 * level, 0.02 * level, 1e-4 * level, 0.02 * level, 1e-9)
    scale = scale_of(loss, tell_apart(steps, KEPT.plan(), None), default_channel(Role.MASS))
    pot = PotCurves(15.0 * level, default_channel(Role.WATER), ufloat(98.0, 0.1))
    (course,) = water_courses(scale, pot, KEPT.plan(), (), n)
    lost = course.lost_by(float(n))
    assert "nothing burnt" in course.known_by
    assert abs(lost.nominal_value) < 0.5
    # A pot of 15 °C in a dry room loses a third of a gram meanwhile, which is within the cell's drift.
    assert 0.3 < lost.std_dev < 3.0


def test_nothing_leaves_the_pot_while_it_is_elsewhere() -> None:
    _, apart = known("lifted")
    (course,) = apart.courses
    outside = ~seconds_of(course.window, LIFTED.n)
    assert (course.rate_g_s[outside] == 0.0).all()
    assert course.lost_by(0.0).nominal_value == 0.0
    assert course.lost_by(course.window[1]).nominal_value == pytest.approx(course.lost_by(LIFTED.n).nominal_value)


def test_a_hot_pot_loses_more_before_it_is_weighed() -> None:
    final = ufloat(KEPT.water_g - KEPT.evaporated_g() - 5.0, 2.0, "pot.final_water_g")
    delay = ufloat(120.0, 10.0, "pot.final_water_delay_s")
    at_once = told(KEPT, KEPT.plan(final_water_g=final)).courses[0].lost_by(KEPT.n)
    later = told(KEPT, KEPT.plan(final_water_g=final, final_water_delay_s=delay)).courses[0].lost_by(KEPT.n)
    cooling = at_once.nominal_value - later.nominal_value
    # An open pot near boiling loses 4 to 13 g a minute (mass-transfer estimate, see test_evaporation).
    low_g, high_g = 2.0 * 4.0, 2.0 * 13.0
    assert low_g < cooling < high_g
    assert later.std_dev > at_once.std_dev


def test_without_pot_or_cell_there_is_no_water() -> None:
    bare = Stove(pot_on_s=None)
    assert told(bare).courses == ()
    _, apart = known("lifted")
    assert water_courses(None, apart.pot, KEPT.plan(), (), KEPT.n) == ()


def twice(plan: Plan) -> tuple[float, ...]:
    """Return what left a pot on each of two visits, poured out and filled anew between them."""
    n = 1200
    level = np.ones(n)
    loss = LossRate(900.0 - 0.2 * np.arange(float(n)), 0.2 * level, 0.01 * level, 0.1 * level, 0.1 * level, 1e-5)
    sizes = ((100, 800.0), (500, -770.0), (600, 900.0), (1000, -840.0))
    steps = [
        MassStep(at, at + 3, ufloat(size, 0.2, "mass_step"), abs(size), ufloat(at + 1.5, 0.5)) for at, size in sizes
    ]
    scale = scale_of(loss, tell_apart(steps, plan, 50.0), default_channel(Role.MASS))
    pot = PotCurves(np.full(n, 80.0), default_channel(Role.WATER), ufloat(BOILING_C, 0.3))
    courses = water_courses(scale, pot, plan, (Event(EventKind.LIT, 50.0, 1.0, ""),), n)
    return tuple(course.lost_by(n).nominal_value for course in courses)


@pytest.mark.parametrize("plan", [empty_plan(), LIFTED.plan()], ids=["no plan", "plan"])
def test_each_visit_is_an_account_of_its_own(plan: Plan) -> None:
    # The 130 g that were filled in between the visits evaporated in neither.
    assert twice(plan) == pytest.approx((30.0, 60.0))


def set_back(size_g: float) -> UFloat:
    """Return what left a pot at 80 °C in its second stay, not lifted, whose first of 400 s took so much off it."""
    n = 1200
    level = np.ones(n)
    loss = LossRate(900.0 - 0.2 * np.arange(float(n)), 0.2 * level, 0.01 * level, 0.1 * level, 0.1 * level, 1e-5)
    sizes = ((100, 800.0), (500, size_g - 800.0), (600, 800.0 - size_g))
    steps = [
        MassStep(at, at + 3, ufloat(size, 0.2, "mass_step"), abs(size), ufloat(at + 1.5, 0.5)) for at, size in sizes
    ]
    scale = scale_of(loss, tell_apart(steps, empty_plan(), 50.0), default_channel(Role.MASS))
    pot = PotCurves(np.full(n, 80.0), default_channel(Role.WATER), ufloat(BOILING_C, 0.3))
    _, course = water_courses(scale, pot, empty_plan(), (Event(EventKind.LIT, 50.0, 1.0, ""),), n)
    return course.lost_by(n)


@pytest.mark.parametrize("size_g", [12.0, 25.0, 45.0])
def test_a_pot_that_was_lifted_for_a_look_goes_on_as_it_was_weighed(size_g: float) -> None:
    # A second stay was followed by what is usual of any pot: 0.4 to 1.5 times what this one loses.
    lost = set_back(size_g)
    assert lost.nominal_value == pytest.approx(size_g * 598.5 / 400.0, rel=0.08)
    assert 0.1 < lost.std_dev / lost.nominal_value < 0.3


def test_a_pot_that_stood_there_all_the_time_is_followed_from_the_first_second() -> None:
    stove = Stove(pot_on_s=-10.0, pot_off_s=None)
    plan = stove.plan(final_water_g=ufloat(stove.water_g - stove.evaporated_g(), 2.0))
    column = grid_of(stove.curves()).columns[Role.MASS]
    loads = with_standing_pot(tell_apart((), plan, stove.lit_s))
    scale = scale_of(smooth(column.value), loads, default_channel(Role.MASS))
    boil = Event(EventKind.BOIL, stove.boil_s, 1.0, "known")
    pot = PotCurves(stove.water_c, default_channel(Role.WATER), ufloat(BOILING_C, 0.3))
    (course,) = water_courses(scale, pot, plan, (boil,), stove.n)
    assert course.window == (0.0, float(stove.n))
    assert course.lost_by(stove.n).nominal_value == pytest.approx(stove.evaporated_g())


def test_putting_the_water_back_leaves_the_fuel() -> None:
    _, apart = known("lifted")
    bare = STOVE_AND_FUEL - np.cumsum(LIFTED.water_rate_g_s)
    known_water = WaterCourse(apart.courses[0].window, True, LIFTED.water_rate_g_s, lambda: ((), ()), "known")
    fuel = without_water(bare, [known_water], replace(apart.scale.loss, wander=1e-6))
    assert np.max(np.abs(fuel.rate_g_s - LIFTED.fuel_rate_g_s)[200:900]) < 0.01
    # What is not sure of the water is not sure of the fuel.
    inside = seconds_of(apart.courses[0].window, LIFTED.n)
    assert (apart.fuel.u_rate_g_s[inside] >= apart.courses[0].u_rate_g_s[inside]).all()


STOVE_AND_FUEL = 860.0 - np.cumsum(LIFTED.fuel_rate_g_s)
