"""Loads that come and go again whole."""

from uncertainties import ufloat

from emberline.bench.plan import Plan, RefuelPlan, empty_plan
from emberline.curves.mass_steps import MassStep
from emberline.curves.passing_loads import laid_on_and_taken


def step(at_s: int, size_g: float) -> MassStep:
    return MassStep(at_s - 2, at_s + 1, ufloat(size_g, 0.2), abs(size_g), ufloat(at_s, 0.5))


def test_what_is_laid_on_and_taken_off_whole_passes() -> None:
    assert set(laid_on_and_taken([step(100, 60.0), step(400, -60.3)], empty_plan())) == {0, 1}


def test_what_comes_off_lighter_stays() -> None:
    assert laid_on_and_taken([step(100, 60.0), step(400, -45.0)], empty_plan()) == {}


def test_what_is_taken_off_passes_where_it_comes_back_whole_however_late() -> None:
    assert set(laid_on_and_taken([step(100, -8.0), step(130, 8.0)], empty_plan())) == {0, 1}
    assert set(laid_on_and_taken([step(100, -23.0), step(340, 22.8)], empty_plan())) == {0, 1}


def test_only_the_next_addition_can_be_what_was_taken_off() -> None:
    assert laid_on_and_taken([step(100, -8.0), step(340, 40.0), step(600, 8.0)], empty_plan()) == {}


def test_a_pot_that_comes_and_goes_is_no_passing_load() -> None:
    plan = empty_plan()
    assert laid_on_and_taken([step(100, 900.0), step(400, -900.0)], plan) == {}


def test_a_weighed_refuel_vouches_for_the_load_most_like_it_and_for_no_other() -> None:
    plan = Plan(refuels=(RefuelPlan(ufloat(116.6, 0.1)),))
    assert set(laid_on_and_taken([step(100, 111.7), step(285, -111.7), step(450, 116.4)], plan)) == {0, 1}
    assert laid_on_and_taken([step(100, 116.4), step(285, -116.3)], plan) == {}
