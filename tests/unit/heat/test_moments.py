import numpy as np
import pytest
from uncertainties import ufloat
from uncertainties.core import to_affine_scalar

import burn_fixture
from emberline.curves.events import Event, EventKind
from emberline.heat.errors import AbsentError
from emberline.heat.moments import Moments, attempt, earlier, uncertain


def without(*kinds: EventKind) -> Moments:
    return Moments(tuple(event for event in burn_fixture.events() if event.kind not in kinds))


def test_times_come_from_the_events_whatever_their_order() -> None:
    moments = Moments(tuple(reversed(burn_fixture.events())))
    assert moments.burn_time_s.nominal_value == 900.0
    assert moments.burn_time_s.std_dev == pytest.approx((2.0**2 + 6.0**2) ** 0.5)
    assert moments.time_to_boil_s.nominal_value == 360.0
    assert moments.time_to_boil_from_lit_s.nominal_value == 420.0


def test_time_to_boil_counts_from_lit_where_the_pot_stood_there_before() -> None:
    early = Event(EventKind.POT_ON, 20.0, 0.5, "step up")
    moments = Moments((*(e for e in burn_fixture.events() if e.kind is not EventKind.POT_ON), early))
    assert moments.time_to_boil_s.nominal_value == 420.0
    assert without(EventKind.POT_ON).time_to_boil_s.nominal_value == 420.0


def test_time_to_boil_counts_from_pot_on_where_the_record_began_while_it_burnt() -> None:
    assert without(EventKind.LIT).time_to_boil_s.nominal_value == 360.0


def test_a_later_visit_of_the_pot_does_not_move_the_first_boil() -> None:
    again = (Event(EventKind.POT_ON, 720.0, 0.5, "step up"), Event(EventKind.BOIL, 900.0, 2.0, "plateau"))
    assert Moments((*burn_fixture.events(), *again)).time_to_boil_s.nominal_value == 360.0


@pytest.mark.parametrize(
    ("missing", "name", "words"),
    [
        ((EventKind.LIT,), "burn_time_s", "no lighting"),
        ((EventKind.FLAMEOUT,), "burn_time_s", "no flameout"),
        ((EventKind.BOIL,), "time_to_boil_s", "never boiled"),
        ((EventKind.LIT, EventKind.POT_ON), "time_to_boil_s", "neither"),
        ((EventKind.LIT,), "time_to_boil_from_lit_s", "no lighting"),
    ],
)
def test_missing_events_are_named(missing: tuple[EventKind, ...], name: str, words: str) -> None:
    with pytest.raises(AbsentError, match=words):
        getattr(without(*missing), name)


def test_events_in_an_impossible_order_are_refused() -> None:
    late = Event(EventKind.LIT, 1200.0, 0.0, "button", by_person=True)
    moments = Moments((*(e for e in burn_fixture.events() if e.kind is not EventKind.LIT), late))
    with pytest.raises(AbsentError, match="before the lighting"):
        _ = moments.burn_time_s
    with pytest.raises(AbsentError, match="before the fire was lit"):
        _ = moments.time_to_boil_from_lit_s


def test_the_last_flameout_counts() -> None:
    early = Event(EventKind.FLAMEOUT, 500.0, 5.0, "dip")
    assert Moments((*burn_fixture.events(), early)).flameout.nominal_value == 960.0


def test_a_moment_is_one_variable_however_it_is_asked_for() -> None:
    moments = Moments(burn_fixture.events())
    lifted = moments.of(moments.of_kind(EventKind.POT_OFF)[0])
    assert lifted.std_dev == 0.5
    assert (moments.near(EventKind.POT_OFF, 700.4) - lifted).std_dev == 0.0
    assert moments.near(EventKind.POT_OFF, 650.0).std_dev == 0.0


def test_exact_numbers_make_no_variable() -> None:
    assert uncertain(5.0, 0.0, "button").derivatives == {}
    assert [v.tag for v in uncertain(5.0, 0.1, "button").derivatives] == ["button"]


def test_attempt_turns_absence_into_none() -> None:
    assert attempt(lambda: without(EventKind.LIT).lit) is None
    assert attempt(lambda: 5) == 5


@pytest.mark.parametrize(
    ("one", "other"),
    [((2098.0, 72.0), (2083.0, 0.8)), ((1000.0, 10.0), (1100.0, 5.0)), ((1000.0, 30.0), (1010.0, 20.0))],
)
def test_the_earlier_of_two_moments_is_that_of_many_draws(one: tuple[float, float], other: tuple[float, float]) -> None:
    found = earlier(ufloat(*one, "one"), ufloat(*other, "other"))
    rng = np.random.default_rng(7)
    drawn = np.minimum(rng.normal(*one, 200_000), rng.normal(*other, 200_000))
    assert found.nominal_value == pytest.approx(float(drawn.mean()), abs=0.2)
    assert found.std_dev == pytest.approx(float(drawn.std()), rel=0.01)


def test_the_earlier_of_two_exact_moments_is_exact() -> None:
    assert earlier(to_affine_scalar(5.0), to_affine_scalar(4.0)).nominal_value == 4.0
