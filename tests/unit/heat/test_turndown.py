import pytest

import burn_fixture
from burn_fixture import BOILING_POINT
from emberline.curves.events import Event, EventKind
from emberline.heat.burn import Burn
from emberline.heat.errors import AbsentError
from emberline.heat.turndown import turndown


def burn_of(*notes: tuple[float, str]) -> Burn:
    account, events, plan, _ = burn_fixture.usual()
    more = tuple(Event(EventKind.NOTE, t_s, 1.0, text, by_person=True) for t_s, text in notes)
    return Burn(account, (*events, *more), plan, BOILING_POINT)


def test_turndown_is_high_firepower_over_low() -> None:
    burn = burn_of((600.0, "Low power, damper shut"), (800.0, "high power again"))
    moment = burn.moments
    low, high = (moment.of(note) for note in moment.of_kind(EventKind.NOTE))
    expected = burn.released_j(moment.lit, low) / (low - moment.lit) / (burn.released_j(low, high) / (high - low))
    assert turndown(burn).nominal_value == pytest.approx(expected.nominal_value)
    assert turndown(burn).nominal_value == pytest.approx(0.93, abs=0.02)


def test_flameout_ends_a_low_power_phase() -> None:
    assert (
        turndown(burn_of((600.0, "low power"))).nominal_value
        > turndown(burn_of((600.0, "low power"), (800.0, "high power"))).nominal_value
    )


@pytest.mark.parametrize("notes", [(), ((600.0, "windy"),)])
def test_without_a_low_power_phase_there_is_none(notes: tuple[tuple[float, str], ...]) -> None:
    with pytest.raises(AbsentError, match="'low power'"):
        turndown(burn_of(*notes))


@pytest.mark.parametrize("t_s", [70.0, 930.0, 1100.0])
def test_a_phase_too_short_or_outside_the_flaming_is_refused(t_s: float) -> None:
    with pytest.raises(AbsentError, match="a minute"):
        turndown(burn_of((t_s, "low power")))
