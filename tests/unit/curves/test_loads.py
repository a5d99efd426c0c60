"""What steps of the load are taken for, with a plan and without."""

from dataclasses import replace

import pytest
from uncertainties import ufloat

from emberline.bench.plan import Plan, PotPlan, RefuelPlan, VisitPlan, empty_plan
from emberline.curves.events import EventKind
from emberline.curves.loads import HAND_S, Loads, tell_apart, with_standing_pot
from emberline.curves.mass_steps import MassStep

LIT_S = 60.0


def step(at_s: int, size_g: float, *, u_g: float = 0.2, excursion_g: float | None = None, for_s: int = 3) -> MassStep:
    moved = abs(size_g) if excursion_g is None else excursion_g
    moved_s = ufloat(at_s + for_s / 2, 0.3)
    return MassStep(at_s, at_s + for_s, ufloat(size_g, u_g, "mass_step"), moved, moved_s)


def planned(
    tare_g: float = 412.0,
    water_g: float | None = 500.0,
    *,
    lid_g: float | None = None,
    lid: bool = False,
    visits: tuple[float, ...] = (),
    refuels: tuple[float, ...] = (),
) -> Plan:
    pot = PotPlan(
        tare_g=ufloat(tare_g, 0.5),
        lid=lid or lid_g is not None,
        lid_g=None if lid_g is None else ufloat(lid_g, 0.5),
        every=VisitPlan(None if water_g is None else ufloat(water_g, 0.5)),
        visits=tuple(VisitPlan(ufloat(water, 0.5)) for water in visits),
    )
    return Plan(pot=pot, refuels=tuple(RefuelPlan(ufloat(mass, 0.5)) for mass in refuels))


def read(*steps: MassStep, plan: Plan | None = None, lit_s: float | None = LIT_S) -> Loads:
    return tell_apart(steps, empty_plan() if plan is None else plan, lit_s)


def kinds(loads: Loads) -> list[str]:
    return [event.kind.value for event in loads.events]


PLANS = pytest.mark.parametrize("plan", [empty_plan(), planned()], ids=["no plan", "plan"])


@PLANS
def test_a_pot_comes_and_goes(plan: Plan) -> None:
    loads = read(step(200, 912.0), step(600, -870.0), plan=plan)
    assert kinds(loads) == ["pot_on", "pot_off"]
    (stay,) = loads.stays
    assert stay.on is not None
    assert stay.off is not None
    assert stay.window(1500.0) == (203.0, 600.0)
    assert [event.size_g.nominal_value for event in loads.events if event.size_g is not None] == [912.0, -870.0]


@PLANS
def test_a_pot_comes_and_goes_when_half_of_it_has_moved(plan: Plan) -> None:
    on, off = read(step(200, 912.0, for_s=8), step(600, -870.0, for_s=8), plan=plan).events
    assert on.t_s == pytest.approx(204.0)
    assert off.t_s == pytest.approx(604.0)
    assert on.u_s == pytest.approx((HAND_S**2 + 0.3**2) ** 0.5)


@PLANS
def test_a_pot_never_lifted_stays_to_the_end(plan: Plan) -> None:
    (stay,) = read(step(200, 912.0), plan=plan).stays
    assert stay.off is None
    assert stay.window(1500.0) == (203.0, 1500.0)


def test_a_pot_lifted_with_a_lid_that_was_laid_on_it_was_set_down_before() -> None:
    loads = read(step(200, 912.0), step(400, 150.0), step(600, -1040.0), plan=planned(lid_g=150.0))
    assert kinds(loads) == ["pot_on", "step", "pot_off"]


@PLANS
def test_fuel_added_while_burning_is_a_refuel(plan: Plan) -> None:
    loads = read(step(200, 912.0), step(500, 62.0), step(700, -860.0), step(900, 55.0), plan=plan)
    assert kinds(loads) == ["pot_on", "refuel", "pot_off", "refuel"]
    assert [refuel.start_s for refuel in loads.refuels] == [500, 900]


@PLANS
def test_fuel_laid_in_before_the_match_is_no_refuel(plan: Plan) -> None:
    loads = read(step(20, 40.0), step(300, 40.0), plan=plan)
    assert kinds(loads) == ["step", "refuel"]
    assert "before the fire burnt" in loads.events[0].evidence


def test_fuel_laid_on_just_lit_kindling_belongs_to_the_first_fill() -> None:
    # A few seconds more or less in the moment of lighting must not make a refuel of it.
    for lit_s in (95.0, 105.0):
        assert kinds(read(step(100, 60.0), lit_s=lit_s)) == ["step"]
    assert kinds(read(step(100, 60.0), lit_s=70.0)) == ["refuel"]


def test_a_lead_that_tugs_is_no_fuel() -> None:
    loads = read(step(500, 4.1), step(800, 8.0))
    assert kinds(loads) == ["step", "refuel"]
    assert "too little" in loads.events[0].evidence
    assert kinds(read(step(500, 4.1), plan=planned(refuels=(4.0,)))) == ["refuel"]


def test_a_fire_fed_by_the_spoon_is_refuelled_however_little_goes_in_at_once() -> None:
    loads = read(*(step(at_s, 3.6) for at_s in range(200, 600, 50)))
    assert kinds(loads) == ["step"] * 2 + ["refuel"] * 6
    assert len(loads.refuels) == 6


def test_a_light_addition_among_heavier_spoonfuls_is_fuel() -> None:
    assert kinds(read(step(200, 6.0), step(260, 7.1), step(320, 4.4))) == ["refuel"] * 3


def test_what_rises_again_and_again_within_seconds_is_no_spoonful() -> None:
    # A stove that rocks shows several rises, and is fed by none.
    assert kinds(read(*(step(at_s, 2.8) for at_s in (200, 211, 222, 233, 244)))) == ["step"] * 5


def test_light_things_laid_in_before_the_fire_burns_make_no_spoonfuls() -> None:
    assert kinds(read(step(10, 4.0), step(30, 4.0), step(50, 4.0), step(200, 4.0))) == ["step"] * 4


def test_nothing_is_a_refuel_while_nothing_burns() -> None:
    assert kinds(read(step(300, 40.0), lit_s=None)) == ["step"]


def test_a_record_that_began_mid_burn_may_be_refuelled_at_once() -> None:
    loads = tell_apart([step(30, 40.0)], empty_plan(), None, burning_at_start=True)
    assert kinds(loads) == ["refuel"]


def test_what_is_laid_on_as_the_record_begins_is_no_refuel() -> None:
    loads = tell_apart([step(0, 46.0)], empty_plan(), None, burning_at_start=True)
    assert kinds(loads) == ["step"]


def test_the_plan_tells_a_heavy_refuel_from_a_light_pot() -> None:
    steps = step(200, 420.0), step(500, 300.0)
    assert kinds(read(*steps, plan=planned(120.0, 300.0, refuels=(300.0,)))) == ["pot_on", "refuel"]
    # 300 g of firewood with no pot planned but weighed refuels.
    assert kinds(read(step(500, 300.0), plan=Plan(refuels=(RefuelPlan(ufloat(300.0, 1.0)),)))) == ["refuel"]


def test_water_other_than_planned_makes_a_pot_all_the_same() -> None:
    assert kinds(read(step(200, 690.0), plan=planned())) == ["pot_on"]


def test_each_visit_has_its_own_filling() -> None:
    plan = planned(visits=(500.0, 250.0))
    loads = read(step(200, 912.0), step(500, -880.0), step(560, 662.0), step(800, -640.0), plan=plan)
    assert kinds(loads) == ["pot_on", "pot_off", "pot_on", "pot_off"]
    assert len(loads.stays) == 2
    assert "planned: 662 g" in loads.events[2].evidence


def test_a_pot_set_back_half_empty_is_known_again_without_a_plan() -> None:
    loads = read(step(200, 912.0), step(500, -880.0), step(560, 640.0))
    assert kinds(loads) == ["pot_on", "pot_off", "pot_on"]


@pytest.mark.parametrize("lid_g", [105.0, None])
def test_a_lid_that_comes_off_and_on_is_no_refuel(lid_g: float | None) -> None:
    plan = planned(lid_g=lid_g, lid=True)
    loads = read(step(200, 912.0), step(260, 105.0), step(500, -105.0), step(530, 105.0), step(700, -990.0), plan=plan)
    assert kinds(loads) == ["pot_on", "step", "step", "step", "pot_off"]
    assert "as a lid does" in loads.events[1].evidence
    assert loads.refuels == ()


def test_a_lid_set_down_with_the_pot_may_be_lifted_first() -> None:
    loads = read(step(200, 1017.0), step(500, -105.0), step(700, -880.0), plan=planned(lid_g=105.0))
    assert kinds(loads) == ["pot_on", "step", "pot_off"]


@PLANS
def test_a_tool_laid_on_and_taken_off_is_neither_fuel_nor_pot(plan: Plan) -> None:
    loads = read(step(300, 34.0), step(430, -34.1), plan=plan)
    assert kinds(loads) == ["step", "step"]
    assert "taken off later" in loads.events[0].evidence
    assert loads.refuels == ()


@PLANS
def test_a_lead_that_pulls_up_and_comes_free_is_no_refuel(plan: Plan) -> None:
    loads = read(step(300, -5.6), step(378, 5.4), plan=plan)
    assert kinds(loads) == ["step", "step"]
    assert "laid back" in loads.events[0].evidence
    assert loads.refuels == ()


def test_more_fuel_put_in_after_a_piece_fell_out_is_a_refuel() -> None:
    assert kinds(read(step(300, -30.0), step(440, 38.0))) == ["step", "refuel"]


def test_what_comes_back_to_the_gram_replaces_what_left() -> None:
    assert kinds(read(step(300, -30.0), step(440, 30.1))) == ["step", "step"]
    assert kinds(read(step(300, -30.0), step(440, 30.1), plan=planned(refuels=(22.0,)))) == ["step", "step"]
    assert kinds(read(step(300, -30.0), step(440, 30.1), plan=planned(refuels=(30.2,)))) == ["step", "refuel"]


def test_fuel_put_in_by_pieces_is_one_refuel() -> None:
    loads = read(step(300, 13.0), step(309, 42.0, u_g=1.0), step(320, 3.0))
    assert kinds(loads) == ["refuel"]
    (refuel,) = loads.events
    assert refuel.size_g is not None
    assert refuel.size_g.nominal_value == pytest.approx(58.0)
    assert refuel.size_g.std_dev == pytest.approx((0.2**2 + 1.0 + 0.2**2) ** 0.5)
    # By hand: (13 * 301.5 + 42 * 310.5 + 3 * 321.5) / 58.
    assert refuel.t_s == pytest.approx(309.05, abs=0.01)
    assert refuel.u_s > 4.0
    assert [one.size_g.nominal_value for one in loads.refuels] == [13.0, 42.0, 3.0]


def test_refuels_weighed_apart_are_two_however_close() -> None:
    assert kinds(read(step(300, 30.0), step(315, 50.0), plan=planned(refuels=(30.0, 50.0)))) == ["refuel", "refuel"]


def test_two_handfuls_like_two_weighed_refuels_are_one_where_their_sum_fits_better() -> None:
    spoons = planned(refuels=(20.4, 9.3, 9.6))
    assert kinds(read(step(400, 7.4), step(408, 12.6), plan=spoons)) == ["refuel"]


def test_fuel_of_which_a_part_falls_off_again_stays_a_refuel() -> None:
    loads = read(step(300, 60.0), step(430, -34.0))
    assert kinds(loads) == ["refuel", "step"]
    assert "unexplained" in loads.events[1].evidence


def test_a_planned_refuel_is_not_taken_for_a_tool() -> None:
    loads = read(step(300, 60.0), step(430, -60.0), plan=Plan(refuels=(RefuelPlan(ufloat(60.0, 0.5)),)))
    assert kinds(loads) == ["refuel", "step"]


@PLANS
def test_a_pot_that_stood_there_before_the_record_can_be_lifted(plan: Plan) -> None:
    loads = read(step(700, -860.0), plan=plan)
    assert kinds(loads)[-1] == "pot_off"
    (stay,) = loads.stays
    assert stay.on is None
    assert stay.window(1500.0) == (0.0, 700.0)
    assert [event.t_s for event in loads.events if event.kind is EventKind.POT_ON] in ([], [0.0])


def test_a_converter_that_begins_saturated_lifts_no_pot() -> None:
    loads = read(step(0, -2454.0), step(160, 912.0), step(950, -850.0), plan=planned())
    assert kinds(loads) == ["step", "pot_on", "pot_off"]


def test_a_planned_pot_of_which_no_step_tells_stood_there() -> None:
    loads = with_standing_pot(read(step(300, 40.0), plan=planned()))
    assert kinds(loads) == ["pot_on", "refuel"]
    assert loads.events[0].t_s == 0.0
    assert loads.stays[0].window(1200.0) == (0.0, 1200.0)


def test_what_is_lifted_without_ever_having_stood_is_unexplained() -> None:
    loads = read(step(300, -40.0))
    assert kinds(loads) == ["step"]
    assert "unexplained" in loads.events[0].evidence


@PLANS
def test_more_than_the_pot_can_weigh_is_not_the_pot(plan: Plan) -> None:
    loads = read(step(200, 912.0), step(600, -990.0), plan=plan)
    assert kinds(loads) == ["pot_on", "step"]
    assert loads.stays[0].off is None


def test_a_pot_lighter_than_its_tare_is_not_lifted() -> None:
    # 300 g cannot be the pot of 412 g: something was ladled out.
    loads = read(step(200, 912.0), step(600, -300.0), plan=planned())
    assert kinds(loads) == ["pot_on", "step"]


def test_a_knock_that_leaves_no_load_is_kept_where_it_was_hard() -> None:
    loads = read(step(300, 0.1, excursion_g=180.0), step(500, 0.1, excursion_g=6.0), step(700, -1.5, excursion_g=3.0))
    assert kinds(loads) == ["step"]
    assert "180 g" in loads.events[0].evidence


def test_a_gust_no_stronger_than_the_others_is_no_event() -> None:
    knock = replace(step(500, 0.0, excursion_g=40.0), scatter_g=5.0)
    assert kinds(read(knock)) == []
    assert kinds(read(replace(knock, scatter_g=1.0))) == ["step"]


def test_a_load_within_its_own_uncertainty_is_none() -> None:
    assert kinds(read(step(300, 9.0, u_g=4.0, excursion_g=9.0))) == []


def test_no_steps_are_no_loads() -> None:
    assert read() == Loads((), (), (), ())


def test_events_keep_the_order_of_time() -> None:
    loads = read(step(100, 20.0), step(200, 912.0), step(400, 30.0), step(600, -880.0), step(700, 25.0))
    assert [event.t_s for event in loads.events] == sorted(event.t_s for event in loads.events)
    assert all(event.size_g is not None for event in loads.events)


def test_a_lid_that_weighs_as_much_as_the_empty_pot_is_a_lid() -> None:
    # 900 g of water cannot leave in five minutes, by fire or otherwise.
    plan = planned(tare_g=126.0, water_g=900.0, lid_g=124.0)
    loads = read(step(300, 1150.0), step(580, -124.0), step(690, -995.0), plan=plan)
    assert kinds(loads) == ["pot_on", "step", "pot_off"]
    assert "as a lid does" in loads.events[1].evidence


def test_a_lid_as_heavy_as_a_light_pot_that_is_laid_on_and_taken_off_is_no_fuel() -> None:
    plan = planned(tare_g=202.0, water_g=1885.0)
    loads = read(step(150, 2092.9), step(470, 198.8), step(610, -198.9), step(940, -1960.0), plan=plan)
    assert kinds(loads) == ["pot_on", "step", "step", "pot_off"]
    assert "taken off later" in loads.events[1].evidence


def test_a_pot_set_down_and_lifted_cold_was_a_pot() -> None:
    loads = read(step(240, 1712.3), step(610, -1712.4), plan=planned(tare_g=449.0, water_g=1264.0))
    assert kinds(loads) == ["pot_on", "pot_off"]


def test_a_pot_that_boiled_dry_is_lifted_all_the_same() -> None:
    loads = read(step(300, 1026.0), step(1500, -140.0), plan=planned(tare_g=126.0, water_g=900.0))
    assert kinds(loads) == ["pot_on", "pot_off"]


def test_water_that_was_taken_out_before_makes_the_pot_lighter() -> None:
    loads = read(step(300, 1026.0), step(400, -200.0), step(430, -200.0), step(500, -612.0), plan=planned(tare_g=426.0))
    assert kinds(loads)[-1] == "pot_off"


def test_a_lid_lifted_off_a_pot_that_stood_there_already_is_no_pot() -> None:
    # Found on a record that began mid-burn: the lid weighs more than the empty pot.
    loads = read(step(46, -162.6), step(638, -1473.5), plan=planned(143.7, None, lid_g=162.9))
    assert kinds(loads) == ["pot_on", "step", "pot_off"]
    assert loads.events[1].evidence == "load fell by 162.6 g, as much as the lid weighs"


def test_a_pot_that_stood_there_already_is_lifted_with_its_lid() -> None:
    loads = read(step(275, -888.7), step(428, 912.5), step(801, -895.0), plan=planned(247.4, 537.4, lid_g=129.5))
    assert kinds(loads) == ["pot_on", "pot_off", "pot_on", "pot_off"]
    assert loads.refuels == ()


@pytest.mark.parametrize("plan", [empty_plan(), planned()])
def test_what_is_lifted_with_the_pot_and_weighs_as_much_as_an_addition_was_a_lid(plan: Plan) -> None:
    loads = read(step(200, 912.0), step(400, 198.0), step(700, -1020.0), plan=plan)
    assert kinds(loads) == ["pot_on", "step", "pot_off"]
    assert loads.refuels == ()
    assert "lid" in loads.events[1].evidence


def test_fuel_stays_fuel_where_no_more_is_lifted_than_the_pot() -> None:
    loads = read(step(200, 912.0), step(400, 98.0), step(700, -860.0))
    assert kinds(loads) == ["pot_on", "refuel", "pot_off"]


def test_a_pot_that_came_with_its_lid_gets_no_second_one() -> None:
    loads = read(step(200, 1017.0), step(500, 98.0), step(700, -960.0), plan=planned(lid_g=105.0))
    assert kinds(loads) == ["pot_on", "refuel", "pot_off"]


def test_a_lid_that_was_taken_off_a_pot_may_be_laid_back() -> None:
    loads = read(step(200, 1017.0), step(500, -105.0), step(640, 104.0), step(700, -960.0), plan=planned(lid_g=105.0))
    assert kinds(loads) == ["pot_on", "step", "step", "pot_off"]
