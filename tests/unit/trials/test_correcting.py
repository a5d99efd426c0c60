"""What may be corrected, and what may be taken back."""

import pytest

from emberline.curves.events import EventKind
from emberline.trials.correcting import checked, plan_after
from emberline.trials.corrections import (
    AddEvent,
    Change,
    Correction,
    CorrectionError,
    DeleteEvent,
    EditPlan,
    Exclude,
    Include,
    MoveEvent,
    Target,
    Undo,
)
from unit.trials.test_corrections import BOIL, MOVED, WEIGHED, log


def refusal(entries: list[Correction], change: Change, seen: int | None = None) -> str:
    with pytest.raises(CorrectionError) as refused:
        checked(entries, change, len(entries) if seen is None else seen)
    return str(refused.value)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (MoveEvent(Target(EventKind.NOTE, 10.0), 12.0, 1.0), "event"),
        (DeleteEvent(Target(EventKind.NOTE, 10.0)), "event"),
        (AddEvent(EventKind.BOIL, -1.0, 1.0), "t"),
        (AddEvent(EventKind.BOIL, float("nan"), 1.0), "t"),
        (AddEvent(EventKind.BOIL, 10.0, 0.0), "u_s"),
        (AddEvent(EventKind.BOIL, 10.0, float("nan")), "u_s"),
        (MoveEvent(BOIL, 10.0, 1e6), "u_s"),
        (EditPlan({}), "plan"),
        (Include(), "why"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(change: Change, field: str) -> None:
    with pytest.raises(CorrectionError) as refused:
        checked([], change, 0)
    assert refused.value.field == field


def test_what_can_be_is_taken_as_it_is() -> None:
    for change in (AddEvent(EventKind.STEP, 0.0, 1.0), MOVED, DeleteEvent(BOIL), WEIGHED, Exclude()):
        assert checked([], change, 0) is change


def test_two_at_once_about_the_same_are_refused_and_about_others_are_not() -> None:
    entries = log(MOVED)
    assert "Ana changed the same meanwhile" in refusal(log(WEIGHED), WEIGHED, seen=0)
    assert "changed already" in refusal(entries, DeleteEvent(BOIL), seen=0)
    assert "changed meanwhile" in refusal(log(MOVED, Undo(1)), DeleteEvent(Target(EventKind.BOIL, 620.0, 1)))
    for other in (WEIGHED, Exclude(), DeleteEvent(Target(EventKind.LIT, 60.0)), AddEvent(EventKind.BOIL, 5.0, 1.0)):
        assert checked(entries, other, 0) is other
    assert "Ben changed the same meanwhile" in refusal(log(Exclude(), Undo(1)), Undo(2), seen=1)


def test_an_exclusion_is_made_and_taken_back_once() -> None:
    assert "already" in refusal(log(Exclude()), Exclude())
    assert checked(log(Exclude()), Include(), 1) == Include()


def test_any_correction_is_undone_unless_a_later_one_builds_on_it() -> None:
    second = MoveEvent(Target(EventKind.BOIL, 620.0, 1), 600.0, 1.0)
    entries = log(MOVED, WEIGHED, second)
    assert checked(entries, Undo(2), 3) == Undo(2)
    assert checked(entries, Undo(3), 3) == Undo(3)
    assert refusal(entries, Undo(1)) == "correction 3 by Ana builds on this one: undo that first"
    undone = log(MOVED, WEIGHED, second, Undo(3))
    assert checked(undone, Undo(1), 4) == Undo(1)
    assert "taken back already" in refusal(undone, Undo(3))
    assert "no correction 9" in refusal(undone, Undo(9))


def test_a_correction_comes_back_only_where_nothing_took_its_place() -> None:
    entries = log(MOVED, Undo(1), DeleteEvent(BOIL))
    assert "correction 3 by Ana builds on this one" in refusal(entries, Undo(2))
    # What it builds on must hold too.
    second = MoveEvent(Target(EventKind.BOIL, 620.0, 1), 600.0, 1.0)
    assert "builds on" in refusal(log(MOVED, second, Undo(2), Undo(1)), Undo(3))


def test_values_of_a_plan_go_back_to_what_they_were() -> None:
    more = EditPlan({"fuel.char_left_g": (61.0, 62.0), "label": ("a", "b")})
    entries = log(WEIGHED, more)
    assert plan_after(entries[:1], more) == {"fuel.char_left_g": 62.0, "label": "b"}
    assert "correction 2" in refusal(entries, Undo(1))
    assert plan_after(entries, Undo(2)) == {"fuel.char_left_g": 61.0, "label": "a"}
    undone = log(WEIGHED, more, Undo(2))
    assert plan_after(undone, Undo(3)) == {"fuel.char_left_g": 62.0, "label": "b"}
    assert plan_after(undone, Undo(1)) == {"fuel.char_left_g": None}
    assert plan_after(undone, Exclude()) == {}
