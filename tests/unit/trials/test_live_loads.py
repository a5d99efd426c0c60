"""Changes of load that are announced, doubted and taken back."""

from dataclasses import replace

import pytest
from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Retraction
from emberline.trials.live_cell import REMEASURE_S
from emberline.trials.live_loads import (
    DOUBT_S,
    INFERRED_S,
    STAYS_S,
    STEADY_S,
    STEP_STEADY_S,
    LoadWatch,
)
from emberline.trials.said import Sayings

POT = Event(EventKind.POT_ON, 200.0, 1.0, "load rose by 800.0 g", ufloat(800.0, 0.2))
FED = Event(EventKind.REFUEL, 200.0, 1.0, "load rose by 60.0 g while burning", ufloat(60.0, 0.1))
TOOL = replace(FED, kind=EventKind.STEP, evidence="a load of 60.0 g that was taken off later")


def settle(watch: LoadWatch, sayings: Sayings, found: list[Event], seconds: range) -> list[tuple[int, str]]:
    """Settle every second; return what was said, as kinds, and when."""
    said = []
    for now in seconds:
        watch.settle(found, sayings, now)
        heard = sayings.heard()
        said += [(now, one.kind.value + (" back" if isinstance(one, Retraction) else "")) for one in heard]
    return said


@pytest.mark.parametrize(
    ("event", "after_s"),
    [
        (POT, STEADY_S),
        (replace(POT, kind=EventKind.STEP), STEP_STEADY_S),
        (replace(POT, t_s=0.0, size_g=None), INFERRED_S),
    ],
)
def test_what_matters_at_once_is_told_first(event: Event, after_s: int) -> None:
    sayings = Sayings()
    said = settle(LoadWatch(), sayings, [event], range(210, 300))
    assert said == [(210 + after_s, event.kind.value)]


def test_a_load_that_changes_its_form_waits_for_its_last() -> None:
    watch, sayings = LoadWatch(), Sayings()
    for now in range(210, 220):
        watch.settle([replace(POT, size_g=ufloat(400.0 + 50.0 * (now - 210), 0.2))], sayings, now)
        assert sayings.heard() == []
        assert watch.unsettled
    assert settle(watch, sayings, [POT], range(220, 230)) == [(220 + STEADY_S, "pot_on")]
    assert not watch.unsettled


def test_a_doubt_that_passes_is_not_told() -> None:
    watch, sayings = LoadWatch(), Sayings()
    settle(watch, sayings, [POT], range(210, 220))
    assert settle(watch, sayings, [], range(220, 220 + DOUBT_S)) == []
    assert watch.unsettled
    assert settle(watch, sayings, [POT], range(240, 260)) == []
    assert not watch.unsettled


def test_a_load_that_went_back_is_taken_back_in_plain_words() -> None:
    watch, sayings = LoadWatch(), Sayings()
    settle(watch, sayings, [POT], range(210, 220))
    assert settle(watch, sayings, [], range(220, 260)) == [(220 + DOUBT_S, "pot_on back")]
    (back,) = sayings.tracked.retracted
    assert back.why == "the load went back to what it had been"
    assert sayings.tracked.announced == []


def test_a_load_read_otherwise_is_told_after_the_first_reading_was_taken_back() -> None:
    watch, sayings = LoadWatch([62.0]), Sayings()
    settle(watch, sayings, [FED], range(210, 220))
    said = settle(watch, sayings, [TOOL], range(220, 300))
    assert [kind for _, kind in said] == ["refuel back", "step"]
    assert "a load of 60.0 g that was taken off later" in sayings.tracked.retracted[0].why


@pytest.mark.parametrize(("planned_g", "after_s"), [([], STAYS_S), ([140.0], STAYS_S), ([140.0, 64.0], STEADY_S)])
def test_fuel_that_the_plan_weighs_is_told_at_once_and_other_fuel_once_it_has_stayed(
    planned_g: list[float], after_s: int
) -> None:
    said = settle(LoadWatch(planned_g), Sayings(), [FED], range(210, 500))
    assert said == [(210 + after_s, "refuel")]


def test_a_tool_laid_on_for_two_minutes_is_never_told_as_fuel() -> None:
    watch, sayings = LoadWatch(), Sayings()
    said = settle(watch, sayings, [FED], range(210, 330)) + settle(watch, sayings, [TOOL], range(330, 500))
    assert [kind for _, kind in said] == ["step"]
    assert sayings.tracked.retracted == []


def test_a_tool_that_is_just_being_taken_off_after_three_minutes_is_not_told_as_fuel() -> None:
    watch, sayings = LoadWatch(), Sayings()
    settle(watch, sayings, [FED], range(210, 210 + STAYS_S))
    for now in range(210 + STAYS_S, 210 + STAYS_S + 10):
        watch.settle([FED], sayings, now, -57.0)
    said = settle(watch, sayings, [TOOL], range(220 + STAYS_S, 500))
    assert [kind for _, kind in said] == ["step"]
    assert sayings.tracked.retracted == []


def test_a_gust_that_is_over_before_its_measure_stands_is_no_step() -> None:
    gust = Event(EventKind.STEP, 200.0, 1.0, "a disturbance of up to 80 g that left no load", ufloat(0.0, 0.001))
    watch, sayings = LoadWatch(), Sayings()
    said = settle(watch, sayings, [gust], range(208, 200 + REMEASURE_S))
    assert said + settle(watch, sayings, [], range(200 + REMEASURE_S, 400)) == []


def test_other_kinds_are_none_of_its_business() -> None:
    sayings = Sayings()
    sayings.announce(Event(EventKind.BOIL, 400.0, 1.0, ""), 410)
    sayings.heard()
    assert settle(LoadWatch(), sayings, [], range(420, 460)) == []
