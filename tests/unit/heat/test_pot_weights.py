"""What the pot's own weights tell of its water, with lids and tools laid on it meanwhile."""

from dataclasses import replace

import numpy as np
import pytest
from uncertainties import UFloat, ufloat

from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import FuelPlan, Plan, PotPlan, VisitPlan, empty_plan
from emberline.curves.burning_rate import LossRate
from emberline.curves.events import Event, EventKind
from emberline.curves.loads import Stay, tell_apart
from emberline.curves.mass_steps import UNKNOWN_U_G, MassStep
from emberline.heat.pot_weights import Closed, by_char_weight, by_steps, by_usual_char, lidded, weighted
from emberline.heat.scale import Scale, scale_of
from stove_fixture import Stove, told

N = 1200
LIT_S = 50.0
ON, OFF = (200, 900.0), (900, -820.0)
LID_G = 120.0


def scale(*steps: tuple[int, float], plan: Plan | None = None) -> Scale:
    """Return a cell on which 0.1 g burn a second, with loads laid on and taken off."""
    level = np.ones(N)
    loss = LossRate(900.0 - 0.1 * np.arange(float(N)), 0.1 * level, 0.01 * level, 0.1 * level, 0.1 * level, 1e-5)
    moved = [MassStep(at, at + 3, ufloat(g, 0.2, "mass_step"), abs(g), ufloat(at + 1.5, 0.5)) for at, g in steps]
    loads = tell_apart(moved, empty_plan() if plan is None else plan, LIT_S)
    return scale_of(loss, loads, default_channel(Role.MASS))


def planned(*, lid: bool = False, lid_g: float | None = None, water_g: float = 500.0) -> Plan:
    pot = PotPlan(
        tare_g=ufloat(400.0, 0.5),
        lid=lid,
        lid_g=None if lid_g is None else ufloat(lid_g, 0.2),
        every=VisitPlan(ufloat(water_g, 0.5)),
    )
    return Plan(pot=pot)


def lost(cell: Scale, plan: Plan, *witnesses: UFloat) -> Closed:
    (stay,) = cell.loads.stays
    closed = by_steps(cell, plan, stay, 0, 900.0, witnesses)
    assert closed is not None
    return closed


def test_a_pot_whose_lift_no_cell_saw_closes_no_account() -> None:
    cell = scale(ON, OFF)
    (stay,) = cell.loads.stays
    assert stay.on is not None
    assert stay.off is not None
    unseen = replace(stay.off, size_g=ufloat(0.0, UNKNOWN_U_G, "mass_step"))
    assert by_steps(cell, planned(), replace(stay, off=unseen), 0, 900.0, [HEAT]) is None
    closed = by_steps(cell, planned(), replace(stay, on=replace(stay.on, size_g=unseen.size_g)), 0, 900.0, [HEAT])
    assert closed is not None
    assert closed.known_by == "the pot was weighed coming off, its water before"


HEAT = ufloat(80.0, 15.0)
"""What the heat tells of the water in these tests."""


def test_a_lid_laid_on_and_lifted_with_the_pot_is_no_water() -> None:
    plan = planned(lid_g=LID_G)
    cell = scale(ON, (500, LID_G), (900, -820.0 - LID_G), plan=plan)
    total = lost(cell, plan, HEAT).total_g
    assert total.nominal_value == pytest.approx(80.0, abs=0.5)
    assert total.std_dev < 1.5


def test_a_lid_taken_off_before_the_pot_is_lifted_is_no_water() -> None:
    plan = planned(lid=True, lid_g=LID_G)
    cell = scale((200, 900.0 + LID_G), (500, -LID_G), OFF, plan=plan)
    assert lost(cell, plan, HEAT).total_g.nominal_value == pytest.approx(80.0, abs=0.5)


def test_a_load_nobody_planned_goes_where_the_heat_says() -> None:
    # 90 g laid on: on the pot, lifted with it; or beside it, and still there.
    beside, on_pot = scale(ON, (500, 90.0), OFF), scale(ON, (500, 90.0), (900, -910.0))
    for cell in (beside, on_pot):
        cell = replace(cell, loads=replace(cell.loads, refuels=()))
        total = lost(cell, empty_plan(), HEAT).total_g
        assert abs(total.nominal_value - 80.0) < 2.0 * total.std_dev
        assert total.std_dev < 25.0


def test_where_nothing_tells_where_a_load_lay_that_is_in_the_uncertainty() -> None:
    cell = scale(ON, (500, 40.0), OFF)
    cell = replace(cell, loads=replace(cell.loads, refuels=()))
    total = lost(cell, empty_plan(), ufloat(100.0, 60.0)).total_g
    assert total.std_dev > 15.0
    assert abs(total.nominal_value - 80.0) < 2.0 * total.std_dev


def test_more_water_than_there_was_cannot_have_left() -> None:
    plan = planned(lid_g=LID_G, water_g=100.0)
    cell = scale((200, 500.0), (500, 60.0), (900, -420.0), plan=plan)
    cell = replace(cell, loads=replace(cell.loads, refuels=()))
    assert lost(cell, plan).total_g.nominal_value == pytest.approx(80.0, abs=1.0)


def test_a_pot_with_its_lid_counts_without_it_where_only_its_lifting_was_seen() -> None:
    plan = planned(lid=True, lid_g=LID_G)
    cell = scale((900, -820.0 - LID_G), plan=plan)
    assert lost(cell, plan, HEAT).total_g.nominal_value == pytest.approx(80.0, abs=1.5)


def test_steps_that_neither_heat_nor_fuel_bears_out_are_in_doubt() -> None:
    cell = scale(ON, (900, -900.0))
    closed = lost(cell, empty_plan(), ufloat(82.0, 8.0), ufloat(75.0, 9.0))
    assert closed.total_g.std_dev > 60.0
    assert "bears that out" in closed.known_by


def test_one_other_account_alone_puts_no_weight_in_doubt() -> None:
    cell = scale(ON, (900, -900.0))
    assert lost(cell, empty_plan(), ufloat(82.0, 8.0)).total_g.std_dev < 1.5
    assert lost(cell, empty_plan(), ufloat(82.0, 8.0), ufloat(3.0, 9.0)).total_g.std_dev < 1.5


def test_a_pot_that_was_never_lifted_closes_nothing() -> None:
    cell = scale(ON)
    assert by_steps(cell, planned(), cell.loads.stays[0], 0, float(N), ()) is None


def test_what_fuel_usually_leaves_tells_the_water_of_a_pot_that_stays() -> None:
    stove = Stove(pot_off_s=None)
    closed = by_usual_char(told(stove).scale, stove.plan(), Event(EventKind.FLAMEOUT, stove.flameout_s, 5.0, ""))
    assert closed is not None
    assert closed.until_s == stove.flameout_s
    truth = stove.evaporated_g(stove.flameout_s)
    assert abs(closed.total_g.nominal_value - truth) < 2.0 * closed.total_g.std_dev
    # 7 % of the dry fuel.
    assert closed.total_g.std_dev == pytest.approx(0.07 * 0.9 * stove.fuel_g, rel=0.3)


def test_without_fuel_or_an_end_of_flame_the_fuel_tells_nothing() -> None:
    stove = Stove(pot_off_s=None)
    cell = told(stove).scale
    assert by_usual_char(cell, stove.plan(), None) is None
    assert by_usual_char(cell, empty_plan(), Event(EventKind.FLAMEOUT, 1050.0, 5.0, "")) is None
    assert by_char_weight(cell, Plan(fuel=FuelPlan(mass_g=ufloat(190.0, 0.5))), 1500.0, None) is None


def test_char_smothered_after_an_unsure_flameout_closes_the_account_no_better_than_that_is_known() -> None:
    stove = Stove(pot_off_s=None)
    cell = told(stove).scale
    fuel = replace(stove.plan().fuel, char_left_g=ufloat(20.0, 0.5), char_snuffed_s=ufloat(60.0, 5.0))
    u = []
    for u_s in (5.0, 200.0):
        flameout = Event(EventKind.FLAMEOUT, stove.flameout_s, u_s, "")
        closed = by_char_weight(cell, Plan(fuel=fuel), float(stove.n), flameout)
        assert closed is not None
        u.append(closed.total_g.std_dev)
    assert u[0] < 4.0
    assert u[1] > 10.0


def test_a_lid_holds_back_vapour_from_when_it_is_laid_on() -> None:
    plan = planned(lid_g=LID_G)
    cell = scale(ON, (500, LID_G), (700, -LID_G), OFF, plan=plan)
    on = lidded(cell, plan, cell.loads.stays[0], np.arange(float(N)) + 0.5)
    assert not on[:503].any()
    assert on[503:703].all()
    assert not on[703:].any()
    assert lidded(scale(ON), planned(lid=True), Stay(None, None), np.arange(5.0) + 0.5).all()


def test_two_values_that_disagree_are_less_sure_than_they_say() -> None:
    # Birge, Phys. Rev. 40 (1932) 207: the external over the internal uncertainty is the root of chi squared.
    mean = weighted(ufloat(10.0, 1.0), ufloat(16.0, 1.0))
    assert mean.nominal_value == pytest.approx(13.0)
    assert mean.std_dev == pytest.approx(0.5**0.5 * 18.0**0.5)
    agreed = weighted(ufloat(10.0, 1.0), ufloat(10.5, 1.0))
    assert agreed.std_dev == pytest.approx(0.5**0.5)
