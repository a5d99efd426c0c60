from dataclasses import replace

import pytest
from uncertainties import UFloat, ufloat

import burn_fixture
from burn_fixture import BOILING_POINT, SyntheticBurn
from emberline.bench.plan import FuelPlan, Plan, empty_plan
from emberline.curves.events import Event, EventKind
from emberline.heat.notes import written
from emberline.heat.results import compute_results


def notes(plan: Plan | None = None, events: tuple[Event, ...] | None = None, lost_g: float = 260.0) -> dict[str, str]:
    chosen = burn_fixture.plan() if plan is None else plan
    account = SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(chosen), lost_g=lost_g).account()
    results = compute_results(account, burn_fixture.events() if events is None else events, chosen, BOILING_POINT)
    return {note.code: note.text for note in results.quality}


def with_fuel(**changes: UFloat | str | None) -> Plan:
    return burn_fixture.with_fuel(burn_fixture.plan(), **changes)


def test_a_plan_that_answers_all_leaves_three_notes() -> None:
    assert list(notes()) == ["char_source", "char_heat_upper", "pot_heat_left_out"]
    assert "put in less what the load cell lost" in notes()["char_source"]
    assert "about 16 kJ" in notes()["pot_heat_left_out"]


@pytest.mark.parametrize(
    ("plan", "code", "words"),
    [
        (with_fuel(moisture_wet=None), "assumed_moisture_wet", "wet basis"),
        (with_fuel(lhv_dry_j_g=None), "assumed_lhv_dry_j_g", "dry and net"),
        (with_fuel(char_lhv_j_g=None), "assumed_char_lhv_j_g", "J/g"),
        (with_fuel(char_lhv_j_g=None, ash_fraction=ufloat(0.01, 0.002)), "assumed_char_lhv_j_g", "ash"),
        (with_fuel(starter_lhv_j_g=None), "assumed_starter_lhv_j_g", "ethanol"),
        (with_fuel(mass_g=None), "assumed_char_yield", "Weigh the fuel"),
        (replace(burn_fixture.plan(), place=empty_plan().place), "assumed_ambient_c", "air temperature"),
        (with_fuel(char_left_g=ufloat(45.0, 0.1), char_snuffed_s=ufloat(0.0, 5.0)), "char_source", "the better known"),
        (with_fuel(char_left_g=ufloat(30.0, 0.1), char_snuffed_s=ufloat(0.0, 5.0)), "char_disagrees", "30.0 g"),
    ],
)
def test_what_was_assumed_or_chosen_is_said(plan: Plan, code: str, words: str) -> None:
    assert words in notes(plan)[code]


def test_no_starter_needs_no_assumption_about_it() -> None:
    assert "assumed_starter_lhv_j_g" not in notes(with_fuel(starter_g=None, starter_lhv_j_g=None), lost_g=255.0)


def test_assumptions_behind_no_result_are_not_told() -> None:
    results = compute_results(SyntheticBurn(visits=()).account(), (), empty_plan(), BOILING_POINT)
    assert [note.code for note in results.quality] == ["char_heat_upper"]


def test_less_char_than_usual_is_said() -> None:
    assert "only 6 %" in notes(lost_g=290.0)["char_yield_low"]
    assert "char_yield_low" not in notes()


def with_evaporated(tag: str) -> dict[str, str]:
    """Return the notes where the water that left is unsure by 30 g, for a reason."""
    chosen = burn_fixture.plan()
    known = SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(chosen)).account()
    unsure = ufloat(0.0, 30.0, tag)
    visits = tuple(replace(visit, evaporated_g=visit.evaporated_g + unsure) for visit in known.visits)

    def fuel_lost(a_s: float, b_s: float) -> UFloat:
        return known.fuel_lost(a_s, b_s) - unsure

    account = replace(known, visits=visits, fuel_lost=fuel_lost)
    results = compute_results(account, burn_fixture.events(), chosen, BOILING_POINT)
    return {note.code: note.text for note in results.quality}


def test_accounts_of_the_water_that_disagree_are_told() -> None:
    assert "by weight, by heat and by fuel" in with_evaporated("pot_account_doubtful")["water_accounts_disagree"]
    assert "water_accounts_disagree" not in with_evaporated("evaporation_model")


def test_char_that_is_an_assumption_is_called_one() -> None:
    assert "in part that assumption" in with_evaporated("char_yield")["char_assumed"]
    assert "char_assumed" not in with_evaporated("evaporation_model")


def test_remains_beyond_any_char_are_suspected() -> None:
    assert "58 %" in notes(lost_g=150.0)["unburnt_suspected"]


def test_a_burn_that_left_nothing_says_so() -> None:
    assert "char_none_left" in notes(lost_g=305.3)


def test_doubtful_events_and_refuels_are_told() -> None:
    refuel = Event(EventKind.REFUEL, 500.0, 1.0, "step up", ufloat(80.0, 0.5))
    doubtful = [replace(event, confirmed=event.kind is not EventKind.BOIL) for event in burn_fixture.events()]
    told = notes(events=(*doubtful, refuel))
    assert "plateau at 99.2" in told["boil_unconfirmed"]
    assert "once" in told["refuelled"]


def test_a_time_to_boil_without_lighting_is_told() -> None:
    events = tuple(event for event in burn_fixture.events() if event.kind is not EventKind.LIT)
    assert "set down" in notes(events=events)["lit_unknown"]


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (18_400.0, 4, "18400"),
        (600.0, 2, "600"),
        (0.11, 4, "0.11"),
        (0.03, 2, "0.03"),
        (29_500.4, 4, "29500"),
        (7.25, 2, "7.2"),
    ],
)
def test_numbers_are_written_out(value: float, digits: int, text: str) -> None:
    assert written(value, digits) == text


def test_no_note_has_a_power_of_ten() -> None:
    plan = replace(burn_fixture.plan(), fuel=FuelPlan(mass_g=burn_fixture.plan().fuel.mass_g))
    notes = compute_results(*burn_fixture.usual(plan)).quality
    assert any("18400" in note.text for note in notes)
    assert not any("e+" in note.text for note in notes)
