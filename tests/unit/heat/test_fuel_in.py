import numpy as np
import pytest
from uncertainties import ufloat

import burn_fixture
from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import FuelPlan, Plan, RefuelPlan, empty_plan, parse_plan
from emberline.curves.burning_rate import LossRate
from emberline.curves.loads import tell_apart
from emberline.curves.mass_steps import MassStep
from emberline.heat.errors import AbsentError
from emberline.heat.fuel_in import UNKNOWN_STARTER_G, FuelIn, put_in_g
from emberline.heat.scale import scale_of


def test_kindling_and_refuels_bring_their_own_moisture() -> None:
    plan = burn_fixture.with_fuel(
        burn_fixture.plan(), kindling_g=ufloat(20.0, 0.5), kindling_moisture_wet=ufloat(0.05, 0.01)
    )
    plan = burn_fixture.with_refuels(
        plan, RefuelPlan(ufloat(60.0, 0.5), ufloat(0.20, 0.01)), RefuelPlan(ufloat(40.0, 0.5))
    )
    charge = FuelIn(plan, burn_fixture.fuel_in(plan)).charge
    assert charge.moist_g.nominal_value == pytest.approx(420.0)
    water = 300.0 * 0.11 + 20.0 * 0.05 + 60.0 * 0.20 + 40.0 * 0.11
    assert (charge.moist_g - charge.dry_g).nominal_value == pytest.approx(water)


def test_refuels_known_only_by_their_steps_take_the_moisture_of_the_first_fill() -> None:
    plan = burn_fixture.plan()
    assert plan.fuel.mass_g is not None
    fuel = FuelIn(plan, plan.fuel.mass_g + ufloat(80.0, 1.0, tag="mass_step"))
    assert fuel.charge.moist_g.nominal_value == pytest.approx(380.0)
    assert fuel.charge.moisture_wet.nominal_value == pytest.approx(0.11)


def test_refuels_of_unknown_weight_count_alike() -> None:
    plan = burn_fixture.with_refuels(
        burn_fixture.plan(), RefuelPlan(None, ufloat(0.20, 0.01)), RefuelPlan(None, ufloat(0.10, 0.01))
    )
    assert plan.fuel.mass_g is not None
    charge = FuelIn(plan, plan.fuel.mass_g + 100.0).charge
    assert (charge.moist_g - charge.dry_g).nominal_value == pytest.approx(300.0 * 0.11 + 100.0 * 0.15)


def test_weights_of_the_plan_serve_where_there_is_no_ledger() -> None:
    plan = burn_fixture.with_fuel(burn_fixture.plan(), kindling_g=ufloat(20.0, 0.5))
    weighed = burn_fixture.with_refuels(plan, RefuelPlan(ufloat(60.0, 0.5)))
    assert FuelIn(weighed, None).charge.moist_g.nominal_value == pytest.approx(380.0)
    unweighed = burn_fixture.with_refuels(plan, RefuelPlan(None))
    with pytest.raises(AbsentError, match=r"fuel\.mass_g"):
        _ = FuelIn(unweighed, None).charge


def test_what_the_plan_leaves_out_is_assumed_with_a_wide_uncertainty() -> None:
    fuel = FuelIn(empty_plan(), None)
    for value, low, high in [
        (fuel.moisture_wet, 0.05, 0.2),
        (fuel.lhv_dry, 17e3, 20e3),
        (fuel.starter_lhv, 25e3, 28e3),
    ]:
        assert low < value.nominal_value < high
        assert value.std_dev > 0.02 * value.nominal_value
    assert (fuel.starter_g.nominal_value, fuel.starter_g.std_dev) == UNKNOWN_STARTER_G
    # Whoever wrote down the fuel and no starter had none.
    assert FuelIn(parse_plan("[fuel]\nmass_g = 300.0"), None).starter_g.std_dev == 0.0
    with pytest.raises(AbsentError, match=r"fuel\.mass_g"):
        _ = fuel.charge


def put_in(found: dict[int, float], weighed: tuple[float | None, ...]) -> float:
    """Return the refuels' sum, for loads found at some seconds and a person's weights."""
    n = 1200
    level = np.ones(n)
    loss = LossRate(900.0 - 0.2 * np.arange(float(n)), 0.2 * level, 0.01 * level, 0.1 * level, 0.1 * level, 1e-5)
    steps = [
        MassStep(at, at + 3, ufloat(g, 0.5, "mass_step"), abs(g), ufloat(at + 1.5, 0.5)) for at, g in found.items()
    ]
    refuels = tuple(RefuelPlan(None if mass is None else ufloat(mass, 0.1)) for mass in weighed)
    plan = Plan(fuel=FuelPlan(mass_g=ufloat(300.0, 0.5)), refuels=refuels)
    total = put_in_g(scale_of(loss, tell_apart(steps, plan, 50.0), default_channel(Role.MASS)), plan)
    assert total is not None
    return float(total.nominal_value) - 300.0


def test_a_refuel_counts_as_it_was_weighed() -> None:
    assert put_in({300: 55.9, 600: 72.1}, (55.0, 71.0)) == pytest.approx(126.0)


def test_a_refuel_that_came_in_two_handfuls_counts_once() -> None:
    assert put_in({300: 13.4, 312: 42.9, 600: 108.6}, (55.5, 108.6)) == pytest.approx(164.1)


def test_a_load_that_nobody_weighed_counts_as_the_cell_says() -> None:
    assert put_in({300: 55.9, 600: 33.0}, (55.0,)) == pytest.approx(88.0)
    assert put_in({300: 33.0, 600: 55.9}, (55.0,)) == pytest.approx(88.0)
    assert put_in({300: 33.0, 600: 55.9}, (None, 55.0)) == pytest.approx(88.0)


def test_a_weighed_refuel_that_the_cell_never_saw_is_left_out() -> None:
    assert put_in({300: 71.3}, (55.0, 71.0)) == pytest.approx(71.0)
