"""What a person says of loads, on steps that are known."""

import pytest
from uncertainties import ufloat

from emberline.bench.plan import Plan, empty_plan
from emberline.curves.events import Event, EventKind
from emberline.curves.load_words import loads_by_words, no_pot_stood
from emberline.curves.loads import Loads
from emberline.curves.mass_steps import MassStep
from emberline.curves.words import Word
from unit.curves.test_loads import planned, step

LIT_S = 60.0
STEPS = (step(200, 912.0), step(400, 30.0), step(600, -870.0))


def event(kind: EventKind, t_s: float) -> Event:
    return Event(kind, t_s, 1.0, "set by Ana", by_person=True)


def added(kind: EventKind, t_s: float) -> Word:
    return Word(kind, None, event(kind, t_s))


def read(*words: Word, steps: tuple[MassStep, ...] = STEPS, plan: Plan | None = None) -> Loads:
    return loads_by_words(steps, empty_plan() if plan is None else plan, LIT_S, words)


def told(loads: Loads) -> list[tuple[str, float]]:
    return [(one.kind.value, one.t_s) for one in loads.events]


def test_without_a_word_nothing_changes() -> None:
    assert told(read()) == [("pot_on", 201.5), ("refuel", 401.5), ("pot_off", 601.5)]
    assert told(read(Word(EventKind.BOIL, 400.0, None))) == told(read())


def test_a_refuel_that_was_none_is_a_step_and_no_fuel() -> None:
    loads = read(Word(EventKind.REFUEL, 401.5, None))
    assert told(loads) == [("pot_on", 201.5), ("step", 401.5), ("pot_off", 601.5)]
    assert loads.refuels == ()
    assert loads.steps == STEPS


def test_a_step_that_is_called_fuel_is_fuel() -> None:
    steps = (step(20, 40.0), *STEPS)
    loads = read(added(EventKind.REFUEL, 22.0), steps=steps)
    assert told(loads)[0] == ("refuel", 22.0)
    assert loads.refuels[0] is steps[0]
    assert loads.events[0].evidence == "set by Ana; load rose by 40.0 g"


def test_a_moved_pot_stands_from_that_moment_with_the_weight_that_was_seen() -> None:
    loads = read(Word(EventKind.POT_ON, 201.5, event(EventKind.POT_ON, 210.0)))
    assert told(loads)[0] == ("pot_on", 210.0)
    (stay,) = loads.stays
    assert stay.on is not None
    assert (stay.on.moved_s.nominal_value, stay.on.size_g.nominal_value) == (210.0, 912.0)


def test_a_pot_moved_to_another_load_takes_that_load() -> None:
    steps = (STEPS[0], step(400, 930.0), STEPS[2])
    loads = read(Word(EventKind.POT_ON, 201.5, event(EventKind.POT_ON, 402.0)), steps=steps)
    assert told(loads) == [("step", 201.5), ("pot_on", 402.0), ("pot_off", 601.5)]
    assert loads.stays[0].on is not None
    assert loads.stays[0].on.size_g is steps[1].size_g


def test_a_handful_of_fuel_is_no_pot() -> None:
    loads = read(Word(EventKind.POT_ON, 201.5, event(EventKind.POT_ON, 402.0)))
    assert told(loads) == [("step", 201.5), ("refuel", 401.5), ("pot_on", 402.0), ("pot_off", 601.5)]
    assert loads.events[2].size_g is None


def test_a_deleted_pot_off_leaves_the_pot_where_it_is() -> None:
    loads = read(Word(EventKind.POT_OFF, 601.5, None))
    assert told(loads) == [("pot_on", 201.5), ("refuel", 401.5), ("step", 601.5)]
    assert [stay.off for stay in loads.stays] == [None]


def test_a_pot_lifted_where_the_cell_saw_nothing_ends_its_stay_without_a_weight() -> None:
    loads = read(added(EventKind.POT_OFF, 500.0), steps=STEPS[:2])
    assert told(loads)[-1] == ("pot_off", 500.0)
    assert loads.events[-1].size_g is None
    (stay,) = loads.stays
    assert stay.off is not None
    assert not stay.off.sized
    assert loads.steps == STEPS[:2]


def test_a_second_pot_ends_the_first_ones_stay() -> None:
    loads = read(added(EventKind.POT_ON, 402.0))
    assert told(loads) == [("pot_on", 201.5), ("refuel", 401.5), ("pot_on", 402.0), ("pot_off", 601.5)]
    first, second = loads.stays
    assert first.off is not None
    assert not first.off.sized
    assert second.off is not None


def test_a_refuel_in_portions_is_denied_as_a_whole_and_moved_as_a_whole() -> None:
    steps = (STEPS[0], step(400, 30.0), step(410, 20.0), STEPS[2])
    (refuel,) = [one for one in read(steps=steps).events if one.kind is EventKind.REFUEL]
    loads = read(Word(EventKind.REFUEL, refuel.t_s, None), steps=steps)
    assert [kind for kind, _ in told(loads)] == ["pot_on", "step", "step", "pot_off"]
    moved = read(Word(EventKind.REFUEL, refuel.t_s, event(EventKind.REFUEL, 402.0)), steps=steps)
    assert told(moved) == [("pot_on", 201.5), ("refuel", 402.0), ("pot_off", 601.5)]
    (said,) = [one for one in moved.events if one.kind is EventKind.REFUEL]
    assert said.size_g is not None
    assert said.size_g.nominal_value == pytest.approx(50.0)
    assert len(moved.refuels) == 2


def test_a_pot_that_stood_there_may_be_denied_or_set_down_later() -> None:
    steps = (step(600, -870.0),)
    assert told(read(steps=steps)) == [("pot_on", 0.0), ("pot_off", 601.5)]
    denied = Word(EventKind.POT_ON, 0.0, None)
    assert told(read(denied, steps=steps)) == [("step", 601.5)]
    assert no_pot_stood([denied])
    assert not no_pot_stood([added(EventKind.POT_ON, 201.5)])
    later = read(Word(EventKind.POT_ON, 0.0, event(EventKind.POT_ON, 100.0)), steps=steps, plan=planned())
    assert told(later) == [("pot_on", 100.0), ("pot_off", 601.5)]
    assert [stay.on is not None and stay.on.moved_s.nominal_value for stay in later.stays] == [100.0]


def test_a_hidden_step_is_no_event_and_still_a_load() -> None:
    steps = (step(20, 40.0), *STEPS)
    loads = read(Word(EventKind.STEP, 21.5, None), steps=steps)
    assert told(loads) == told(read())
    assert loads.steps == steps


def test_a_person_may_say_that_a_pot_was_lifted_that_nobody_set_down() -> None:
    loads = read(added(EventKind.POT_OFF, 100.0), steps=())
    assert told(loads) == [("pot_off", 100.0)]
    assert [stay.on for stay in loads.stays] == [None]
    assert ufloat(100.0, 1.0).nominal_value == loads.stays[0].window(900.0)[1]
