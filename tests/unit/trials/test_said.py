"""What is said, said again and taken back."""

from dataclasses import replace

import pytest
from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Retraction
from emberline.trials.said import Sayings, same_event


def event(kind: EventKind, t_s: float, size_g: float | None = None) -> Event:
    return Event(kind, t_s, 1.0, "", None if size_g is None else ufloat(size_g, 0.1))


def test_a_revised_event_is_known_again_by_kind_and_time() -> None:
    said = [event(EventKind.BOIL, 400.0), event(EventKind.BOIL, 900.0), event(EventKind.FLAMEOUT, 890.0)]
    assert same_event(event(EventKind.BOIL, 880.0), said, set()) == 1
    assert same_event(event(EventKind.BOIL, 880.0), said, {1}) is None
    assert same_event(event(EventKind.REFUEL, 400.0, 60.0), said, set()) is None
    assert same_event(event(EventKind.FLAMEOUT, 900.0), said, set()) == 2
    assert same_event(event(EventKind.BOIL, 400.0), [], set()) is None


def test_loads_seconds_apart_are_not_mixed_up() -> None:
    said = [event(EventKind.STEP, 300.0, -105.0), event(EventKind.STEP, 330.0, 105.0)]
    assert same_event(event(EventKind.STEP, 328.0, 105.0), said, set()) == 1
    assert same_event(event(EventKind.STEP, 360.0, 40.0), said, set()) is None


def test_a_load_beside_a_gap_is_known_again_within_its_own_uncertainty() -> None:
    said = [event(EventKind.POT_ON, 40.0, 1069.0)]
    assert same_event(replace(event(EventKind.POT_ON, 21.0, 1069.5), u_s=11.0), said, set()) == 0
    assert same_event(event(EventKind.POT_ON, 21.0, 1069.5), said, set()) is None


def test_what_is_to_be_said_is_heard_once() -> None:
    sayings = Sayings()
    sayings.announce(event(EventKind.LIT, 80.0), 100)
    (heard,) = sayings.heard()
    assert isinstance(heard, Event)
    assert (heard.t_s, heard.announced_t_s, heard.revised_t_s) == (80.0, 100.0, None)
    assert sayings.heard() == []


def test_a_small_change_is_kept_in_silence_and_small_changes_add_up_to_one_worth_saying() -> None:
    sayings = Sayings()
    sayings.announce(event(EventKind.REFUEL, 300.0, 60.0), 310)
    sayings.heard()
    for now, size_g in ((315, 60.4), (320, 60.8)):
        sayings.revise(0, event(EventKind.REFUEL, 300.0, size_g), now)
        assert sayings.heard() == []
    assert sayings.tracked.announced[0].size_g is not None
    assert sayings.tracked.announced[0].size_g.nominal_value == 60.8
    sayings.revise(0, event(EventKind.REFUEL, 300.0, 61.2), 325)
    (again,) = sayings.heard()
    assert isinstance(again, Event)
    assert (again.announced_t_s, again.revised_t_s) == (310.0, 325.0)


@pytest.mark.parametrize(
    ("change", "told"),
    [({"t_s": 402.0}, False), ({"t_s": 420.0}, True), ({"confirmed": False}, True), ({"evidence": "other"}, False)],
)
def test_another_time_or_another_certainty_is_worth_saying(change: dict[str, object], told: bool) -> None:
    sayings = Sayings()
    boil = event(EventKind.BOIL, 400.0)
    sayings.announce(boil, 412)
    sayings.heard()
    sayings.revise(0, replace(boil, **change), 460)  # type: ignore[arg-type]
    assert bool(sayings.heard()) == told
    assert sayings.newest(EventKind.BOIL) == sayings.tracked.announced[0]


def test_an_announcement_taken_back_leaves_the_others() -> None:
    sayings = Sayings()
    for index, t_s in enumerate((100.0, 200.0, 300.0)):
        sayings.announce(event(EventKind.STEP, t_s, 10.0), 110 + 100 * index)
    sayings.heard()
    sayings.retract(1, "it went back", 400)
    assert sayings.heard() == [Retraction(EventKind.STEP, 210.0, 400.0, "it went back")]
    assert [one.t_s for one in sayings.tracked.announced] == [100.0, 300.0]
    sayings.revise(1, event(EventKind.STEP, 300.0, 10.1), 410)
    assert sayings.heard() == []
    assert [one.announced_t_s for one in sayings.of_kind(EventKind.STEP)] == [110.0, 310.0]
