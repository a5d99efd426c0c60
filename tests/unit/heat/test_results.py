import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import UFloat, ufloat

import burn_fixture
from burn_fixture import BOILING_POINT, SyntheticBurn
from emberline.bench.plan import Plan, PotPlan, empty_plan
from emberline.curves.events import EventKind
from emberline.heat.results import RESULT_NAMES, Results, compute_results
from emberline.heat.uncharred import uncharred

TIMES = {"time_to_boil", "time_to_boil_from_lit", "burn_time"}
FUEL_ENERGY = {
    "fuel_burned", "char_left", "char_yield", "equivalent_dry_fuel", "burning_rate_equivalent_dry",
    "effective_heat_of_combustion", "firepower_gross_mean", "thermal_efficiency", "thermal_efficiency_char_credit",
    "specific_fuel_consumption",
}  # fmt: skip


def results_of(burn: SyntheticBurn, plan: Plan, *, without: EventKind | None = None) -> Results:
    events = tuple(event for event in burn_fixture.events() if event.kind is not without)
    return compute_results(burn.account(), events, plan, BOILING_POINT)


def test_every_name_has_a_number_or_a_reason() -> None:
    results = compute_results(*burn_fixture.usual())
    assert set(results.absent) == {"turndown"}
    assert (*results.values, *results.absent) == RESULT_NAMES
    assert {name: result.unit for name, result in results.values.items()} == {
        "time_to_boil": "s", "time_to_boil_from_lit": "s", "time_to_boil_corrected": "s", "burn_time": "s",
        "fuel_burned": "g", "fuel_mass_lost": "g", "char_left": "g", "char_yield": "", "water_evaporated": "g",
        "burning_rate_mean": "g/min", "burning_rate_peak": "g/min", "burning_rate_peak_five_point": "g/min",
        "burning_rate_10_90": "g/min", "burning_rate_equivalent_dry": "g/min", "equivalent_dry_fuel": "g",
        "effective_heat_of_combustion": "J/g", "firepower_mean": "W", "firepower_gross_mean": "W",
        "cooking_power": "W", "thermal_efficiency": "", "thermal_efficiency_char_credit": "",
        "pot_window_efficiency": "", "specific_fuel_consumption": "g/kg",
    }  # fmt: skip


def test_numbers_of_the_synthetic_burn_by_hand() -> None:
    results = compute_results(*burn_fixture.usual()).values
    values = {name: result.value.nominal_value for name, result in results.items()}
    fuel_j = 300.0 * (0.89 * 18_400.0 - 0.11 * 2443.0)
    starter_j, char_j = 5.0 * 26_800.0, 45.0 * 29_500.0
    # Of what was left, some is wood within pieces.
    u_left = (results["char_left"].value / 267.0).std_dev
    left_j = char_j - uncharred(45.0 / 267.0, u_left, sorted_out=False).wood * 45.0 * (29_500.0 - 18_400.0)
    heat_j = 4.186 * 500.0 * 81.2 + 2260.0 * 60.0
    dry_g = 267.0 - (33.0 * (4.186 * 81.1 + 2257.0) + char_j) / 18_400.0
    assert values == pytest.approx(
        values
        | {
            "time_to_boil": 360.0,
            "time_to_boil_from_lit": 420.0,
            "time_to_boil_corrected": 360.0 * 75.0 / 81.2,
            "burn_time": 900.0,
            "fuel_burned": 300.0,
            "fuel_mass_lost": 255.0,
            "char_left": 45.0,
            "char_yield": 45.0 / 267.0,
            "water_evaporated": 60.0,
            "burning_rate_mean": 260.0 / 15.0,
            "burning_rate_equivalent_dry": dry_g / 15.0,
            "equivalent_dry_fuel": dry_g,
            "effective_heat_of_combustion": (fuel_j - left_j) / 255.0,
            "firepower_mean": (fuel_j + starter_j - left_j) / 900.0,
            "firepower_gross_mean": (fuel_j + starter_j) / 900.0,
            "cooking_power": heat_j / 580.0,
            "thermal_efficiency": heat_j / (fuel_j + starter_j),
            "thermal_efficiency_char_credit": heat_j / (fuel_j + starter_j - left_j),
            "specific_fuel_consumption": dry_g / 0.440,
        }
    )


def test_firepower_mean_times_burn_time_is_the_integral_of_the_curve() -> None:
    results = compute_results(*burn_fixture.usual())
    mean_j = results.values["firepower_mean"].value * results.values["burn_time"].value
    assert np.nansum(results.firepower_w[60:960]) == pytest.approx(mean_j.nominal_value, rel=1e-6)


def test_pot_window_efficiency_is_heat_over_the_windows_firepower() -> None:
    results = compute_results(*burn_fixture.usual())
    heat_j = results.values["cooking_power"].value * 580.0
    released_j = float(np.sum(results.firepower_w[120:700]))
    share = results.values["pot_window_efficiency"].value
    assert share.nominal_value == pytest.approx(heat_j.nominal_value / released_j, rel=1e-6)
    visit = results.visits[0].pot_window_efficiency
    assert visit is not None
    assert visit.value.nominal_value == pytest.approx(share.nominal_value)


def test_budget_adds_up_to_the_uncertainty() -> None:
    for result in compute_results(*burn_fixture.usual()).values.values():
        assert math.hypot(*result.budget.values()) == pytest.approx(result.value.std_dev, rel=0.05)


def test_the_heating_value_of_one_lot_cancels_between_two_burns() -> None:
    plan = burn_fixture.plan()
    fuel_in = burn_fixture.fuel_in(plan)
    a = results_of(SyntheticBurn(fuel_in), plan).values["thermal_efficiency"].value
    b = results_of(SyntheticBurn(fuel_in, lost_g=265.0), plan).values["thermal_efficiency"].value
    lhv = plan.fuel.lhv_dry_j_g
    assert abs(a.derivatives[lhv]) * 300.0 > 0.0009
    assert abs((a / b).derivatives[lhv]) * 300.0 < 1e-9


@pytest.mark.parametrize(
    ("kind", "words"), [(EventKind.LIT, "no lighting"), (EventKind.FLAMEOUT, "no flameout"), (EventKind.BOIL, "boiled")]
)
def test_a_missing_event_is_the_reason(kind: EventKind, words: str) -> None:
    plan = burn_fixture.plan()
    visit = replace(burn_fixture.visit(), boil_s=None) if kind is EventKind.BOIL else burn_fixture.visit()
    burn = SyntheticBurn(burn_fixture.fuel_in(plan), visits=(visit,))
    absent = results_of(burn, plan, without=kind).absent
    expected = {
        EventKind.LIT: {"burn_time", "fuel_mass_lost", "firepower_mean", "burning_rate_mean"},
        EventKind.FLAMEOUT: {"burn_time", "fuel_burned", "char_left", "firepower_mean", "thermal_efficiency"},
        EventKind.BOIL: {"time_to_boil", "time_to_boil_from_lit", "specific_fuel_consumption"},
    }[kind]
    for name in expected:
        assert words in absent[name], name


def test_without_a_plan_the_mass_results_come_out_and_the_reason_says_what_to_enter() -> None:
    results = results_of(SyntheticBurn(), empty_plan())
    assert set(results.values) >= TIMES | {"fuel_mass_lost", "burning_rate_mean", "burning_rate_peak", "firepower_mean"}
    assert set(results.absent) >= FUEL_ENERGY
    for name in FUEL_ENERGY:
        assert "fuel.mass_g" in results.absent[name]
    firepower = results.values["firepower_mean"]
    assert firepower.value.std_dev > 0.05 * firepower.value.nominal_value
    assert "char_yield" in firepower.budget


def test_without_a_load_cell_only_times_and_weights_come_out() -> None:
    plan = burn_fixture.plan()
    results = results_of(SyntheticBurn(has_mass=False, visits=()), plan)
    assert set(results.values) == TIMES | {"fuel_burned", "firepower_gross_mean"}
    assert "load cell" in results.absent["burning_rate_mean"]
    assert np.isnan(results.firepower_w).all()


def test_a_pot_that_nobody_saw_set_down_has_no_time_to_boil_but_that_from_lit() -> None:
    unseen = tuple(event for event in burn_fixture.events() if event.kind is not EventKind.POT_ON)
    plan = burn_fixture.plan()
    account = SyntheticBurn(has_mass=False, visits=()).account()
    results = compute_results(account, unseen, plan, BOILING_POINT)
    assert "when the pot was set down" in results.absent["time_to_boil"]
    assert "time_to_boil_from_lit" in results.values
    # A load cell that shows no step shows that the pot stood there.
    standing = compute_results(SyntheticBurn(burn_fixture.fuel_in(plan)).account(), unseen, plan, BOILING_POINT)
    assert standing.values["time_to_boil"].value.nominal_value > 0.0


def test_without_a_load_cell_char_weighed_cold_gives_the_net_firepower() -> None:
    plan = burn_fixture.with_fuel(burn_fixture.plan(), char_left_g=ufloat(45.0, 0.5), char_snuffed_s=ufloat(0.0, 5.0))
    values = results_of(SyntheticBurn(has_mass=False, visits=()), plan).values
    fuel_j = 300.0 * (0.89 * 18_400.0 - 0.11 * 2443.0)
    assert values["firepower_mean"].value.nominal_value == pytest.approx((fuel_j + 134e3 - 45.0 * 29_500.0) / 900.0)


def test_without_a_pot_the_stoves_own_results_come_out() -> None:
    plan = replace(burn_fixture.plan(), pot=None)
    burn = SyntheticBurn(burn_fixture.fuel_in(plan), visits=())
    events = tuple(e for e in burn_fixture.events() if e.kind in (EventKind.LIT, EventKind.FLAMEOUT))
    results = compute_results(burn.account(), events, plan, BOILING_POINT)
    assert {"firepower_mean", "char_yield", "equivalent_dry_fuel"} <= set(results.values)
    for name in ("water_evaporated", "cooking_power", "thermal_efficiency", "pot_window_efficiency"):
        assert results.absent[name] == "no pot stood on the stove"
    assert results.visits == ()


def test_a_flame_that_died_early_gives_no_char_figures() -> None:
    plan = burn_fixture.plan()
    results = results_of(SyntheticBurn(burn_fixture.fuel_in(plan), lost_g=150.0), plan)
    assert results.values["char_left"].value.nominal_value == pytest.approx(155.0)
    for name in ("char_yield", "thermal_efficiency", "thermal_efficiency_char_credit", "equivalent_dry_fuel"):
        assert "fuel.unburnt_g" in results.absent[name]
    assert "char_yield" in results.values["firepower_mean"].budget


def test_a_cell_that_lost_more_than_the_fuel_gives_no_char() -> None:
    plan = burn_fixture.plan()
    absent = results_of(SyntheticBurn(burn_fixture.fuel_in(plan), lost_g=330.0), plan).absent
    for name in ("char_left", "char_yield", "thermal_efficiency_char_credit", "equivalent_dry_fuel"):
        assert "lost more than" in absent[name]


def test_nothing_left_gives_no_char_yield_but_the_energy_sums() -> None:
    plan = burn_fixture.plan()
    results = results_of(SyntheticBurn(burn_fixture.fuel_in(plan), lost_g=305.3), plan)
    assert {"char_left", "char_yield"} <= set(results.absent)
    credit, none = results.values["thermal_efficiency_char_credit"], results.values["thermal_efficiency"]
    assert credit.value.nominal_value == pytest.approx(none.value.nominal_value)
    # What may be left after all counts as char in the one, and as wood that nobody sorted out in the other.
    assert "load_cell_span" in credit.budget
    assert "load_cell_span" not in none.budget


def test_visits_tell_what_they_know() -> None:
    plan = burn_fixture.plan()
    unknown = replace(burn_fixture.visit(), evaporated_g=None, evaporated_flaming_g=None, known_by="nothing")
    visit = results_of(SyntheticBurn(burn_fixture.fuel_in(plan), visits=(unknown,)), plan).visits[0]
    assert (visit.pot_on_s, visit.boil_s, visit.pot_off_s, visit.known_by) == (120.0, 480.0, 700.0, "nothing")
    assert visit.water_evaporated is None
    assert visit.pot_window_efficiency is None


def test_the_same_burn_gives_the_same_numbers() -> None:
    one, two = compute_results(*burn_fixture.usual()), compute_results(*burn_fixture.usual())
    assert one.absent == two.absent
    for name, result in one.values.items():
        assert repr(result.value.nominal_value) == repr(two.values[name].value.nominal_value)
        assert list(result.budget) == list(two.values[name].budget)
        assert result.budget == two.values[name].budget


NUMBER = st.floats(0.0, 2.0)


def maybe(value: float, factor: float | None, tag: str) -> UFloat | None:
    return None if factor is None else ufloat(value * factor, 0.02 * value, tag=tag)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    factors=st.lists(st.none() | NUMBER, min_size=9, max_size=9),
    lost_g=st.floats(1.0, 500.0),
    dropped=st.sets(st.sampled_from(list(EventKind))),
    has_mass=st.booleans(),
    evaporated=st.none() | st.floats(-100.0, 700.0),
    end_c=st.none() | st.floats(0.0, 105.0),
)
def test_no_input_gives_a_traceback_or_an_empty_number(
    factors: list[float | None],
    lost_g: float,
    dropped: set[EventKind],
    has_mass: bool,
    evaporated: float | None,
    end_c: float | None,
) -> None:
    plan = burn_fixture.with_fuel(
        burn_fixture.plan(),
        mass_g=maybe(300.0, factors[0], "fuel.mass_g"),
        moisture_wet=maybe(0.3, factors[1], "fuel.moisture_wet"),
        lhv_dry_j_g=maybe(18_400.0, factors[2], "fuel.lhv_dry_j_g"),
        char_lhv_j_g=maybe(29_500.0, factors[3], "fuel.char_lhv_j_g"),
        char_left_g=maybe(60.0, factors[4], "fuel.char_left_g"),
        char_snuffed_s=maybe(300.0, factors[5], "fuel.char_snuffed_s"),
        unburnt_g=maybe(100.0, factors[6], "fuel.unburnt_g"),
        starter_g=maybe(5.0, factors[7], "fuel.starter_g"),
        ash_fraction=maybe(0.05, factors[8], "fuel.ash_fraction"),
    )
    gone = None if evaporated is None else ufloat(evaporated, 1.0, tag="water_account")
    visit = replace(
        burn_fixture.visit(),
        evaporated_g=gone,
        evaporated_flaming_g=gone,
        water_heat_end_c=None if end_c is None else ufloat(end_c, 0.5, tag="water_curve"),
    )
    burn = SyntheticBurn(burn_fixture.fuel_in(plan), lost_g=lost_g, has_mass=has_mass, visits=(visit,))
    events = tuple(event for event in burn_fixture.events() if event.kind not in dropped)
    results = compute_results(burn.account(), events, replace(plan, pot=PotPlan()), BOILING_POINT)
    assert set(results.values) | set(results.absent) == set(RESULT_NAMES)
    for name, result in results.values.items():
        assert math.isfinite(result.value.nominal_value), name
        assert math.isfinite(result.value.std_dev), name
        assert result.value.std_dev > 0.0, name
    for share in ("thermal_efficiency", "thermal_efficiency_char_credit", "pot_window_efficiency"):
        if share in results.values:
            assert 0.0 < results.values[share].value.nominal_value <= 1.0
    assert all(reason for reason in results.absent.values())


def test_a_load_cell_that_gained_mass_gives_no_negative_firepower() -> None:
    plan = burn_fixture.plan()
    account = SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(plan), lost_g=-400.0).account()
    results = compute_results(account, burn_fixture.events(), plan, BOILING_POINT)
    assert "no loss of mass" in results.absent["firepower_mean"]
    assert all(result.value.nominal_value >= 0.0 for result in results.values.values())
