from dataclasses import replace

import pytest
from uncertainties import ufloat

import burn_fixture
from burn_fixture import BOILING_POINT, SyntheticBurn
from emberline.curves.events import Event, EventKind
from emberline.heat.account import Visit
from emberline.heat.burn import Burn
from emberline.heat.errors import AbsentError
from emberline.heat.result import Result
from emberline.heat.visits import Visits

USUAL = burn_fixture.visit()
HEAT_J = 4.186 * 500.0 * 81.2 + 2260.0 * 60.0


def pot_of(*visits: Visit, events: tuple[Event, ...] | None = None, has_mass: bool = True) -> Visits:
    plan = burn_fixture.plan()
    account = SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(plan), visits=visits, has_mass=has_mass).account()
    return Visits(Burn(account, burn_fixture.events() if events is None else events, plan, BOILING_POINT))


def test_window_runs_from_pot_on_to_pot_off() -> None:
    start, end = pot_of(USUAL).window(USUAL)
    assert (start.nominal_value, end.nominal_value) == (120.0, 700.0)


def test_window_begins_when_it_is_lit_and_ends_with_the_flame() -> None:
    whole = replace(USUAL, pot_on_s=0.0, pot_off_s=None, end_s=1400.0)
    start, end = pot_of(whole).window(whole)
    assert (start.nominal_value, end.nominal_value) == (60.0, 960.0)
    assert end.std_dev == 6.0


def test_heat_into_the_water() -> None:
    pot = pot_of(USUAL)
    assert pot.total_heat_j.nominal_value == pytest.approx(HEAT_J)
    assert pot.total_window_s.nominal_value == 580.0
    # The bias of the one probe cancels in the rise.
    assert "probe_bias" not in {v.tag for v, d in pot.total_heat_j.derivatives.items() if abs(d) > 1e-9}


@pytest.mark.parametrize(("at_c", "latent_j_g"), [(99.6, 2257.4), (67.0, 2340.5), (90.0, 2282.5)])
def test_the_protocols_latent_heat_is_as_unsure_as_it_is_off(at_c: float, latent_j_g: float) -> None:
    # Heat of evaporation at these temperatures: saturated-steam tables (IAPWS-IF97).
    end_c = USUAL.water_heat_end_c
    assert end_c is not None
    cooled = replace(USUAL, evaporates_at_c=end_c - end_c.nominal_value + at_c)
    heat_j = pot_of(cooled).heat_j(cooled)
    part_j = abs(Result(heat_j, "J").budget["latent_heat"])
    assert part_j == pytest.approx(60.0 * abs(latent_j_g - 2260.0) / 3.0**0.5, rel=0.05)
    assert heat_j.nominal_value == pytest.approx(HEAT_J + 4.186 * 60.0 * max(0.0, at_c - end_c.nominal_value))


def test_visits_after_flameout_take_no_flame_heat_but_evaporate() -> None:
    on_char = replace(USUAL, pot_on_s=1000.0, pot_off_s=1200.0, end_s=1200.0, boil_s=None)
    pot = pot_of(USUAL, on_char)
    assert pot.heated == [USUAL]
    assert pot.total_evaporated_g.nominal_value == pytest.approx(120.0)
    with pytest.raises(AbsentError, match="no flame"):
        _ = pot_of(on_char).total_heat_j


def test_an_uncertain_flameout_counts_with_the_water_that_left_then() -> None:
    early = tuple(
        replace(event, t_s=600.0) if event.kind is EventKind.FLAMEOUT else event for event in burn_fixture.events()
    )
    flaming = pot_of(USUAL, events=early).evaporated_flaming_g(USUAL)
    # The fixture's pot loses 60 g in 400 s.
    assert flaming.std_dev == pytest.approx((1.2**2 + (6.0 * 60.0 / 400.0) ** 2) ** 0.5, rel=0.02)


def test_when_a_pot_was_lifted_is_no_doubt_of_what_had_left_by_then() -> None:
    unsure = {EventKind.POT_OFF: (700.0, 3.0), EventKind.FLAMEOUT: (712.0, 2.0)}
    moments = ((event, *unsure.get(event.kind, (event.t_s, event.u_s))) for event in burn_fixture.events())
    visits = pot_of(USUAL, events=tuple(replace(event, t_s=t_s, u_s=u_s) for event, t_s, u_s in moments))
    assert visits.evaporated_flaming_g(USUAL).std_dev == pytest.approx(1.2, rel=0.01)


def test_water_set_down_within_the_doubt_of_a_flameout_is_no_rate_of_loss() -> None:
    doubtful = tuple(
        replace(event, t_s=660.0, u_s=60.0) if event.kind is EventKind.FLAMEOUT else event
        for event in burn_fixture.events()
    )
    fresh = replace(USUAL, pot_on_s=700.0, pot_off_s=900.0, end_s=900.0, boil_s=None)
    visits = pot_of(USUAL, fresh, events=doubtful)
    account = visits.burn.account
    alone = visits.evaporated_flaming_g(USUAL)
    account.water_g[700:900] = 5000.0
    assert visits.evaporated_flaming_g(USUAL).std_dev == alone.std_dev
    # The fixture's pot loses 60 g in 400 s; a normal moment of 660 ± 60 s, cut off at 700 s, has 47.4 s (Clark 1961).
    assert alone.std_dev == pytest.approx((1.2**2 + (47.4 * 60.0 / 400.0) ** 2) ** 0.5, rel=0.02)


def test_a_flame_that_may_have_ended_before_the_pot_was_lifted_shortens_its_window() -> None:
    # Dated a little after the lifting, unsure by a minute: the window cannot have ended later than the pot was lifted.
    events = tuple(
        replace(event, t_s=710.0, u_s=60.0) if event.kind is EventKind.FLAMEOUT else event
        for event in burn_fixture.events()
    )
    _, end = pot_of(USUAL, events=events).window(USUAL)
    assert 670.0 < end.nominal_value < 690.0
    assert 25.0 < end.std_dev < 40.0


def test_two_visits_are_summed() -> None:
    second = replace(USUAL, pot_on_s=720.0, pot_off_s=900.0, end_s=900.0, boil_s=None, water_heat_end_c=ufloat(60, 0.6))
    pot = pot_of(USUAL, second)
    assert pot.total_heat_j.nominal_value == pytest.approx(HEAT_J + 4.186 * 500.0 * 42.0 + 2260.0 * 60.0)
    assert pot.total_window_s.nominal_value == pytest.approx(580.0 + 180.0)
    # The visit that boiled counts in full, the other by how far it came.
    assert pot.total_effective_water_g.nominal_value == pytest.approx(440.0 * (1 + 42.0 / 81.1))


def test_a_reason_names_the_visit_where_there_are_several() -> None:
    unknown = replace(USUAL, water_start_g=None)
    with pytest.raises(AbsentError, match=r"^visit 2 of the pot: nobody weighed"):
        _ = pot_of(USUAL, unknown).total_heat_j
    with pytest.raises(AbsentError, match=r"^nobody weighed"):
        _ = pot_of(unknown).total_heat_j


@pytest.mark.parametrize(
    ("visit", "words"),
    [
        (replace(USUAL, water_start_c=None), "probe"),
        (replace(USUAL, water_heat_end_c=None), "probe"),
        (replace(USUAL, evaporated_flaming_g=None), "final_water_g"),
        (replace(USUAL, boil_s=None, water_heat_end_c=ufloat(17.0, 0.5)), "did not become warmer"),
        (replace(USUAL, evaporated_flaming_g=ufloat(-20.0, 1.0)), "gained"),
    ],
)
def test_heat_that_cannot_be_known_says_why(visit: Visit, words: str) -> None:
    with pytest.raises(AbsentError, match=words):
        _ = pot_of(visit).total_heat_j


def test_water_that_never_boiled_has_no_effective_mass() -> None:
    with pytest.raises(AbsentError, match="never boiled"):
        _ = pot_of(replace(USUAL, boil_s=None)).total_effective_water_g


def test_no_boil_is_expected_without_a_pot_or_a_probe() -> None:
    events = tuple(event for event in burn_fixture.events() if event.kind is not EventKind.BOIL)
    blind = pot_of(replace(USUAL, boil_s=None, water_heat_end_c=None), events=events)
    with pytest.raises(AbsentError, match="probe into the pot"):
        blind.expect_boil()
    pot_of(replace(USUAL, boil_s=None), events=events).expect_boil()
    none = pot_of(events=events)
    none.expect_boil()
    none.burn.plan = replace(none.burn.plan, pot=None)
    with pytest.raises(AbsentError, match="no pot stood"):
        none.expect_boil()


def test_a_probe_whose_readings_stopped_is_not_told_as_none() -> None:
    events = tuple(event for event in burn_fixture.events() if event.kind is not EventKind.BOIL)
    cut = pot_of(replace(USUAL, boil_s=None, water_heat_end_c=None, unread_s=(184.0, 420.0)), events=events)
    for asked in (cut.expect_boil, lambda: cut.total_heat_j, lambda: cut.total_effective_water_g):
        with pytest.raises(AbsentError, match=r"^the water's readings are missing from 184 s to 420 s"):
            asked()


def test_evaporation_that_cannot_be_known_says_why() -> None:
    for visit, words in [
        (replace(USUAL, evaporated_g=None), "lift"),
        (replace(USUAL, evaporated_g=ufloat(600, 1)), "more"),
    ]:
        with pytest.raises(AbsentError, match=words):
            _ = pot_of(visit).total_evaporated_g


def test_no_pot_is_told_from_no_load_cell_and_from_a_pot_beside_it() -> None:
    beside, blind, none = pot_of(), pot_of(has_mass=False), pot_of()
    none.burn.plan = replace(none.burn.plan, pot=None)
    for pot, words in [(none, "no pot stood"), (blind, "no load cell"), (beside, "beside the cell")]:
        for name in ("heated", "total_evaporated_g"):
            with pytest.raises(AbsentError, match=words):
                getattr(pot, name)
