"""Whether the advice is true: what it promises is what comes out when it is followed."""

from functools import cache

import pytest
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

import burn_fixture
from emberline.bench.plan import Plan
from emberline.heat.advice import HALVED, Adviser
from emberline.heat.remedies import FIT_FLAME_PROBE, REMEDIES, WEIGH_CHAR, WEIGHED_U_G
from emberline.heat.result import Result
from emberline.heat.results import compute_results
from emberline.reports.wording import in_sentence
from stove_fixture import BOILING_C, Stove, told

USUAL = burn_fixture.usual()


def adviser(results: dict[str, Result], plan: Plan | None = None) -> Adviser:
    account, events, usual, boiling_point = burn_fixture.usual(plan)
    return Adviser(account, events, usual, boiling_point, results)


def made_of(**parts: float) -> Adviser:
    total: UFloat = sum(ufloat(1.0, u, tag=tag.replace("__", ".")) for tag, u in parts.items())
    return adviser({"made": Result(total, "g")})


def test_one_remedy_that_halves_is_named_alone() -> None:
    found = made_of(fuel__mass_g=0.9, fuel__char_left_g=0.2).advice("made")
    assert found is not None
    assert found.orders == (REMEDIES["fuel.mass_g"].order,)
    assert found.halves
    assert found.u == pytest.approx((0.06**2 + 0.2**2) ** 0.5)


def test_two_that_halve_together_are_both_named() -> None:
    found = made_of(fuel__mass_g=0.5, refuel__1__mass_g=0.45, boil=0.1).advice("made")
    assert found is not None
    assert set(found.orders) == {REMEDIES["fuel.mass_g"].order, REMEDIES["refuel.mass_g"].order}
    assert found.halves


def test_many_small_inputs_are_told_as_such() -> None:
    some = made_of(fuel__mass_g=0.5, fuel__char_left_g=0.49, fuel__starter_g=0.48, fuel__unburnt_g=0.47)
    found = some.advice("made")
    assert found is not None
    assert not found.halves
    assert some.sentence("made", "it").startswith("Nothing alone halves the uncertainty of it")


def test_what_cannot_be_bettered_gets_no_advice() -> None:
    some = made_of(water_curve=1.0)
    assert some.advice("made") is None
    assert some.sentence("made", "it") == ""


def test_what_is_done_already_is_not_advised() -> None:
    account, events, plan, boiling_point = USUAL
    results = {"made": Result(ufloat(1.0, 9.0, "flameout") + ufloat(0.0, 1.0, "water_curve"), "s")}
    found = Adviser(account, events, plan, boiling_point, results).advice("made")
    assert found is not None
    assert found.orders == (FIT_FLAME_PROBE.order,)
    assert Adviser(account, events, plan, boiling_point, results, (FIT_FLAME_PROBE,)).advice("made") is None


def test_an_exact_result_needs_no_advice() -> None:
    assert adviser({"made": Result(ufloat(1.0, 0.1) * 0.0 + 5.0, "s")}).advice("made") is None


FOLLOWED = {
    "fuel.lhv_dry_j_g": {"lhv_dry_j_g": ufloat(18_400.0, 100.0, "fuel.lhv_dry_j_g")},
    "fuel.moisture_wet": {"moisture_wet": ufloat(0.11, 0.002, "fuel.moisture_wet")},
    "fuel.char_lhv_j_g": {"char_lhv_j_g": ufloat(29_500.0, 150.0, "fuel.char_lhv_j_g")},
    "fuel.mass_g": {"mass_g": ufloat(300.0, 0.06, "fuel.mass_g")},
    "fuel.starter_g": {"starter_g": ufloat(5.0, 0.06, "fuel.starter_g")},
}
UNSURE = {
    "fuel.lhv_dry_j_g": {"lhv_dry_j_g": ufloat(18_400.0, 900.0, "fuel.lhv_dry_j_g")},
    "fuel.moisture_wet": {"moisture_wet": ufloat(0.11, 0.04, "fuel.moisture_wet")},
    "fuel.char_lhv_j_g": {"char_lhv_j_g": ufloat(29_500.0, 6_000.0, "fuel.char_lhv_j_g")},
    "fuel.mass_g": {"mass_g": ufloat(300.0, 25.0, "fuel.mass_g")},
    "fuel.starter_g": {"starter_g": ufloat(5.0, 4.0, "fuel.starter_g")},
}


NAMES = ("thermal_efficiency", "thermal_efficiency_char_credit", "firepower_mean")


def test_promises_are_kept() -> None:
    kept = set()
    for tag, unsure in UNSURE.items():
        plan = burn_fixture.with_fuel(burn_fixture.plan(), **unsure)
        some = adviser(compute_results(*burn_fixture.usual(plan)).values, plan)
        better = compute_results(*burn_fixture.usual(burn_fixture.with_fuel(plan, **FOLLOWED[tag]))).values
        for name in NAMES:
            found = some.advice(name)
            if found is None or found.orders != (REMEDIES[tag].order,):
                continue
            assert better[name].value.std_dev == pytest.approx(found.u, rel=0.01)
            kept.add((tag, name))
    assert len(kept) >= 8
    assert {tag for tag, _ in kept} >= {"fuel.lhv_dry_j_g", "fuel.moisture_wet", "fuel.char_lhv_j_g"}


@cache
def drifting() -> tuple[Adviser, Plan]:
    """A burn whose char is known by the balance alone, on a load cell of 3 % error."""
    plan = burn_fixture.plan()
    account = burn_fixture.SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(plan), u_lost=0.03).account()
    given = (account, burn_fixture.events(), plan, burn_fixture.BOILING_POINT)
    return Adviser(*given, compute_results(*given).values), plan


def test_to_halve_the_char_weigh_it_and_so_it_comes_out() -> None:
    name = "char_left"
    some, plan = drifting()
    found = some.advice(name)
    assert found is not None
    assert found.orders == (WEIGH_CHAR.order,)
    assert found.halves
    account = burn_fixture.SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(plan), u_lost=0.03).account()
    weighed = burn_fixture.with_fuel(
        plan, char_left_g=ufloat(45.0, WEIGHED_U_G, "fuel.char_left_g"), char_snuffed_s=to_affine_scalar(0.0)
    )
    followed = compute_results(account, burn_fixture.events(), weighed, burn_fixture.BOILING_POINT).values[name]
    assert followed.value.std_dev == pytest.approx(found.u, rel=0.02)
    text = some.sentence(name, in_sentence(name))
    assert text.startswith(f"To halve the uncertainty of {in_sentence(name)}, smother the char")


def test_who_weighed_the_char_is_not_told_to_weigh_it() -> None:
    plan = burn_fixture.with_fuel(
        burn_fixture.plan(), char_left_g=ufloat(45.0, 3.0, "fuel.char_left_g"), char_snuffed_s=to_affine_scalar(0.0)
    )
    some = adviser(compute_results(*burn_fixture.usual(plan)).values, plan)
    found = some.advice("char_left")
    assert found is None or WEIGH_CHAR.order not in found.orders


def test_to_know_what_evaporated_lift_the_pot_and_so_it_comes_out() -> None:
    kept, lifted = Stove(pot_off_s=None), Stove()
    boiling_point = ufloat(BOILING_C, 0.3, "pressure")
    alone = told(kept)
    given = (alone.account, alone.events, kept.plan(), boiling_point)
    results = compute_results(*given).values
    found = Adviser(*given, results).advice("water_evaporated")
    assert found is not None
    assert found.halves
    followed = told(lifted)
    better = compute_results(followed.account, followed.events, lifted.plan(), boiling_point).values["water_evaporated"]
    assert better.value.std_dev <= found.u * 1.1
    assert better.value.std_dev < HALVED * results["water_evaporated"].value.std_dev


@pytest.mark.parametrize("name", ["fuel_mass_lost", "cooking_power", "pot_window_efficiency"])
def test_to_know_a_pot_that_is_weighed_after_it_stood_on_glowing_char_lift_it_and_so_it_comes_out(name: str) -> None:
    kept = Stove(pot_off_s=None, n=2400)
    final_g = ufloat(kept.water_g - kept.evaporated_g(), 1.0, "pot.final_water_g")
    plan, boiling_point = kept.plan(final_water_g=final_g), ufloat(BOILING_C, 0.3, "pressure")
    alone = told(kept, plan)
    given = (alone.account, alone.events, plan, boiling_point)
    found = Adviser(*given, compute_results(*given).values).advice(name)
    assert found is not None
    assert found.orders == (REMEDIES["evaporation_model"].order,)
    lifted = Stove(pot_off_s=kept.flameout_s + 5.0, n=2400)
    followed = told(lifted)
    better = compute_results(followed.account, followed.events, lifted.plan(), boiling_point).values[name]
    assert better.value.std_dev <= found.u


def test_every_sentence_of_a_burn_ends_and_names_results_in_plain_words() -> None:
    results = compute_results(*USUAL).values
    some = adviser(results)
    for name in results:
        text = some.sentence(name, in_sentence(name))
        assert text == "" or text.endswith(".")
        assert "_" not in text
