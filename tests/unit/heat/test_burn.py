from dataclasses import replace

import numpy as np
import pytest
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

import burn_fixture
from burn_fixture import BOILING_POINT, SyntheticBurn
from emberline.bench.fuels import heat_of_volatiles
from emberline.bench.plan import Plan
from emberline.curves.events import EventKind
from emberline.heat.burn import UNBURNT, Burn
from emberline.heat.errors import AbsentError
from emberline.heat.firepower import HEAT_BEND, HEAT_RISE
from emberline.heat.result import Result
from emberline.heat.uncharred import IN_PIECES, uncharred


def burn_of(plan: Plan | None = None, *, lost_g: float = 260.0, without: EventKind | None = None) -> Burn:
    chosen = burn_fixture.plan() if plan is None else plan
    events = tuple(event for event in burn_fixture.events() if event.kind is not without)
    account = SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(chosen), lost_g=lost_g).account()
    return Burn(account, events, chosen, BOILING_POINT)


def with_fuel(**changes: UFloat | str | None) -> Plan:
    return burn_fixture.with_fuel(burn_fixture.plan(), **changes)


def test_loss_takes_part_in_the_uncertainty_of_its_moments() -> None:
    burn = burn_of()
    near = np.abs(burn.account.t_s - 960.0) <= 10.0
    rate_g_s = float(np.mean(burn.account.burning_rate_g_min[near])) / 60.0
    by_flameout = sum(
        (derivative * variable.std_dev) ** 2
        for variable, derivative in burn.loss_g.derivatives.items()
        if variable.tag == "flameout"
    )
    assert by_flameout**0.5 == pytest.approx(6.0 * rate_g_s)


def test_char_by_balance_is_what_was_put_in_less_what_left() -> None:
    assert burn_of().left_by_balance_g.nominal_value == pytest.approx(45.0)
    assert burn_of(with_fuel(unburnt_g=ufloat(10.0, 0.5))).left_by_balance_g.nominal_value == pytest.approx(35.0)


def test_what_the_load_cell_shows_long_before_lit_is_not_burnt_fuel() -> None:
    burn = burn_of()
    late = tuple(replace(event, t_s=event.t_s + 300.0) for event in burn.moments.events)
    shifted = Burn(burn.account, late, burn.plan, BOILING_POINT)
    lost = burn.account.fuel_lost(240.0, 1260.0).nominal_value
    assert shifted.left_by_balance_g.nominal_value == pytest.approx(305.0 - lost)


def test_char_weighed_cold_gets_back_what_burnt_before_it_was_smothered() -> None:
    plan = with_fuel(char_left_g=ufloat(43.0, 0.2), char_snuffed_s=ufloat(200.0, 10.0))
    left = burn_of(plan).left_by_weight_g
    assert left.nominal_value == pytest.approx(45.0, abs=0.02)
    assert burn_of(plan).left_g.std_dev == left.std_dev


def test_char_smothered_at_flameout_is_what_was_weighed() -> None:
    plan = with_fuel(char_left_g=ufloat(43.0, 0.2), char_snuffed_s=ufloat(0.0, 5.0))
    assert burn_of(plan).left_by_weight_g.nominal_value == 43.0


def test_char_smothered_nobody_knows_when_lies_between_flameout_and_the_end() -> None:
    left = burn_of(with_fuel(char_left_g=ufloat(43.0, 0.2))).left_by_weight_g
    glowed_g = 0.01 * (1400 - 960)
    assert left.nominal_value == pytest.approx(43.0 + glowed_g / 2, abs=0.02)
    assert left.std_dev == pytest.approx(np.hypot(0.2, glowed_g / 12**0.5), rel=0.01)


def test_the_better_known_char_is_taken() -> None:
    rough = burn_of(with_fuel(char_left_g=ufloat(50.0, 5.0), char_snuffed_s=ufloat(60.0, 5.0)))
    assert rough.left_g is rough.left_by_balance_g
    fine = burn_of(with_fuel(char_left_g=ufloat(44.0, 0.05), char_snuffed_s=ufloat(0.0, 5.0)))
    assert fine.left_g is fine.left_by_weight_g


def test_char_that_noise_made_negative_counts_as_none() -> None:
    burn = burn_of(lost_g=305.5)
    assert burn.left_g.nominal_value < 0
    assert burn.char_g.nominal_value == pytest.approx(0.0, abs=1e-9)
    assert burn.char_g.std_dev == pytest.approx(burn.left_g.std_dev)


def test_more_loss_than_fuel_is_refused() -> None:
    with pytest.raises(AbsentError, match="lost more than"):
        _ = burn_of(lost_g=330.0).left_g


def test_more_char_than_a_fire_leaves_is_unburnt_wood() -> None:
    early = burn_of(lost_g=150.0)
    assert early.left_g.nominal_value == pytest.approx(155.0)
    with pytest.raises(AbsentError, match="unburnt wood"):
        _ = early.burnt
    sorted_out = burn_of(with_fuel(unburnt_g=ufloat(120.0, 1.0)), lost_g=150.0)
    assert sorted_out.burnt.moist_g.nominal_value == pytest.approx(180.0)


def test_a_burn_without_lighting_or_flameout_has_no_char() -> None:
    for kind in (EventKind.LIT, EventKind.FLAMEOUT):
        with pytest.raises(AbsentError):
            _ = burn_of(without=kind).left_g


def test_heat_released_from_lit_to_flameout_is_fuel_less_char_and_starter() -> None:
    burn = burn_of()
    released = burn.released_j(burn.moments.lit, burn.moments.flameout)
    fuel_j = 300.0 * (0.89 * 18_400.0 - 0.11 * 2443.0)
    # The 45 g that are left are char at 29.5 kJ/g, and wood at 18.4 kJ/g within its pieces.
    wood_g = 45.0 * uncharred(45.0 / 267.0, (burn.left_g / burn.burnt.dry_g).std_dev, sorted_out=False).wood
    left_j = (45.0 - wood_g) * 29_500.0 + wood_g * 18_400.0
    assert released.nominal_value == pytest.approx(fuel_j - left_j + 5.0 * 26_800.0, rel=1e-9)
    assert burn.net_energy_j.nominal_value == pytest.approx(released.nominal_value, rel=1e-9)


def test_integral_of_the_firepower_curve_is_the_heat_released() -> None:
    burn = burn_of()
    assert np.nansum(burn.firepower_w[60:960]) == pytest.approx(burn.net_energy_j.nominal_value, rel=1e-6)
    assert np.isnan(burn.firepower_w[:60]).all()
    # 0.01 g/s of char at 29,500 J/g.
    np.testing.assert_allclose(burn.firepower_w[960:], 295.0)


def test_firepower_without_starter_is_rate_times_heat_of_volatiles() -> None:
    burn = burn_of(with_fuel(starter_g=None), lost_g=255.0)
    heat = heat_of_volatiles(18_400.0, burn.left_lhv.nominal_value, 0.11, 45.0 / 267.0)
    np.testing.assert_allclose(burn.firepower_w[60:960], burn.account.burning_rate_g_min[60:960] / 60.0 * heat)


def test_starter_burns_ahead_of_the_fuel() -> None:
    burn = burn_of()
    lost = np.cumsum(burn.account.burning_rate_g_min) / 60.0
    first = burn.firepower_w[70] * 60.0 / burn.account.burning_rate_g_min[70]
    assert lost[70] < 5.0
    assert first == pytest.approx(26_800.0)
    after = int(np.searchsorted(lost, 5.0)) + 1
    heat = burn.firepower_w[after] * 60.0 / burn.account.burning_rate_g_min[after]
    assert heat == pytest.approx(burn.volatile_heat_j_g.nominal_value)


def test_without_a_fuel_mass_the_char_yield_is_assumed_and_shows_in_the_budget() -> None:
    burn = burn_of(with_fuel(mass_g=None))
    with pytest.raises(AbsentError, match=r"fuel\.mass_g"):
        _ = burn.known_volatile_heat_j_g
    assert "char_yield" in {variable.tag for variable in burn.volatile_heat_j_g.derivatives}
    assert burn.volatile_heat_j_g.nominal_value == pytest.approx(13_700.0, rel=0.03)


def test_ash_sets_the_heating_value_of_char_where_nobody_gives_it() -> None:
    burn = burn_of(with_fuel(char_lhv_j_g=None, ash_fraction=ufloat(0.02, 0.003)))
    char_yield = 45.0 / 267.0
    assert burn.char_lhv.nominal_value == pytest.approx(32_500.0 * (1 - 0.02 / char_yield))
    unknown = burn_of(with_fuel(char_lhv_j_g=None, ash_fraction=ufloat(0.02, 0.003), mass_g=None))
    assert unknown.char_lhv.nominal_value == pytest.approx(32_500.0 * (1 - 0.02 / 0.17))


def test_moments_outside_the_load_cells_record_are_refused() -> None:
    burn = burn_of()
    with pytest.raises(AbsentError, match="does not reach"):
        burn.lost_g(burn.moments.lit, ufloat(2000.0, 1.0))


def test_a_part_of_a_burn_is_less_sure_of_its_heat_than_the_whole() -> None:
    burn = Burn(*burn_fixture.usual())
    lit, out = burn.moments.lit, burn.moments.flameout
    middle = to_affine_scalar(510.0)
    parts = [Result(burn.released_j(*window), "J").budget for window in ((lit, out), (lit, middle), (middle, out))]
    whole, early, late = (part.get("volatile_heat_course", 0.0) for part in parts)
    assert abs(whole) < 0.001 * abs(early)
    # What the first half had less, the second has more.
    assert early == pytest.approx(-late, rel=0.05)
    half_j = burn.released_j(lit, middle).nominal_value
    assert abs(early) == pytest.approx(HEAT_RISE * 0.5 * half_j, rel=0.1)


def test_the_middle_of_a_burn_is_less_sure_of_its_heat_than_the_whole_too() -> None:
    burn = Burn(*burn_fixture.usual())
    lit, out = burn.moments.lit, burn.moments.flameout
    times = np.linspace(lit.nominal_value, out.nominal_value, 201)
    whole_g = (burn.lost_g(lit, out) - burn.starter_lost_g(lit, out)).nominal_value
    lost = [(burn.lost_g(lit, at) - burn.starter_lost_g(lit, at)).nominal_value for at in map(to_affine_scalar, times)]
    start, end = (to_affine_scalar(float(np.interp(share * whole_g, lost, times))) for share in (0.2, 0.8))
    middle = burn.released_j(start, end)
    # By hand: from 0.2 to 0.8 the mean of 6 x² - 6 x + 1 is -0.32, that of 2 x - 1 zero.
    expected = 0.32 * HEAT_BEND * middle.nominal_value
    assert abs(Result(middle, "J").budget["volatile_heat_course"]) == pytest.approx(expected, rel=0.02)


def test_what_is_left_is_not_all_char_not_even_where_it_was_sorted() -> None:
    sorted_out = burn_fixture.with_fuel(burn_fixture.plan(), unburnt_g=ufloat(1.0, 0.1, "fuel.unburnt_g"))
    for plan in (burn_fixture.plan(), sorted_out):
        burn = Burn(*burn_fixture.usual(plan))
        left = burn.left_g / burn.burnt.dry_g
        wood = uncharred(left.nominal_value, left.std_dev, sorted_out=plan is sorted_out)
        assert burn.left_lhv.nominal_value == pytest.approx(29_500.0 - wood.wood * (29_500.0 - 18_400.0))
        share = Result(burn.net_energy_j, "J").budget["char_unfinished"]
        assert share == pytest.approx(wood.u_wood * burn.char_g.nominal_value * (29_500.0 - 18_400.0), rel=1e-6)


def test_what_a_person_weighed_as_char_counts_as_char_though_less_sure() -> None:
    plan = burn_fixture.with_fuel(
        burn_fixture.plan(), char_left_g=ufloat(45.0, 0.1), char_snuffed_s=to_affine_scalar(0.0)
    )
    burn = Burn(*burn_fixture.usual(plan))
    assert burn.left_lhv.nominal_value == pytest.approx(29_500.0)
    share = Result(burn.net_energy_j, "J").budget["char_unfinished"]
    assert share == pytest.approx(IN_PIECES * 45.0 * (29_500.0 - 18_400.0), rel=1e-3)


def test_a_flame_that_went_out_early_left_wood_that_nobody_sorted_out() -> None:
    # 90 g more in the stove than burnt: more is left than wood leaves as char.
    burn = burn_of(with_fuel(mass_g=ufloat(390.0, 0.5, "fuel.mass_g")))
    left = (burn.left_g / burn.burnt.dry_g).nominal_value
    assert left == pytest.approx(135.0 / (0.89 * 390.0), rel=1e-6)
    assert burn.burnt_g.std_dev > 0.05 * 390.0
    assert burn.burnt_g.nominal_value < 390.0 - 5.0
    # By hand: with a fifth of the charred part left as char, a quarter of the dry fuel is untouched.
    untouched_g = (left - 0.2) / 0.8 * 390.0
    assert abs(390.0 - untouched_g - burn.burnt_g.nominal_value) < 1.96 * burn.burnt_g.std_dev


def test_fuel_burnt_is_less_sure_where_nobody_looked_for_unburnt_wood() -> None:
    plan = burn_fixture.with_fuel(burn_fixture.plan(), unburnt_g=ufloat(1.0, 0.1, "fuel.unburnt_g"))
    looked, trusted = Burn(*burn_fixture.usual(plan)), Burn(*burn_fixture.usual())
    assert Result(trusted.burnt_g, "g").budget["fuel.unburnt_g"] == pytest.approx(-UNBURNT * 300.0, rel=0.01)
    assert looked.burnt_g.nominal_value == pytest.approx(299.0)
    assert looked.burnt_g.std_dev < trusted.burnt_g.std_dev
    # Its heat was never released: 18.4 kJ/g of dry wood at 11 % of moisture are 16.1 kJ/g.
    assert Result(trusted.gross_energy_j, "J").budget["fuel.unburnt_g"] == pytest.approx(
        -UNBURNT * 300.0 * 16_107.0, rel=0.01
    )
