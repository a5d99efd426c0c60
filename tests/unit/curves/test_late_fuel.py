"""Fuel laid on a fire that was out."""

from uncertainties import ufloat

from emberline.bench.plan import empty_plan
from emberline.curves.events import Event, EventKind
from emberline.curves.late_fuel import LEAST_LATE_S, without_late_fuel
from emberline.curves.loads import Loads, tell_apart
from emberline.curves.mass_steps import MassStep

OUT = Event(EventKind.FLAMEOUT, 700.0, 10.0, "")


def fed(*moments_s: int) -> Loads:
    steps = [MassStep(at, at + 2, ufloat(40.0, 0.2, "mass_step"), 40.0, ufloat(at + 1.0, 0.3)) for at in moments_s]
    return tell_apart(steps, empty_plan(), 60.0)


def kinds(loads: Loads) -> list[str]:
    return [event.kind.value for event in loads.events]


def test_what_is_laid_on_a_dead_fire_is_a_step_and_no_fuel_that_burnt() -> None:
    loads = without_late_fuel(fed(400, 1_200), OUT)
    assert kinds(loads) == ["refuel", "step"]
    assert loads.events[1].evidence == "load rose by 40.0 g after the fire was out"
    assert [step.start_s for step in loads.refuels] == [400]
    assert len(loads.steps) == len(loads.causes) == 2


def test_portions_laid_on_a_dead_fire_are_one_step() -> None:
    loads = without_late_fuel(fed(1_200, 1_212), OUT)
    assert kinds(loads) == ["step"]
    assert loads.refuels == ()


def test_fuel_about_when_the_flame_ended_may_have_smothered_it() -> None:
    loads = fed(400, int(OUT.t_s + LEAST_LATE_S) - 5)
    assert without_late_fuel(loads, OUT) is loads
    unsure = Event(EventKind.FLAMEOUT, 700.0, 200.0, "")
    assert without_late_fuel(fed(400, 1_050), unsure).refuels != ()
    assert kinds(without_late_fuel(fed(400, 1_050), unsure)) == ["refuel", "refuel"]


def test_a_persons_word_stands() -> None:
    loads = fed(1_200)
    (event,) = loads.events
    said = Loads((Event(EventKind.REFUEL, event.t_s, 1.0, "", event.size_g, by_person=True),), (), *_rest(loads))
    assert without_late_fuel(said, OUT) is said


def _rest(loads: Loads) -> tuple[tuple[MassStep, ...], tuple[MassStep, ...], tuple[tuple[int, ...], ...]]:
    return loads.refuels, loads.steps, loads.causes
