"""What a person changed of a trial: what holds, what may be changed, what may be undone."""

from dataclasses import replace

import pytest

from emberline.curves.events import Event, EventKind
from emberline.curves.words import Word
from emberline.trials.correction_documents import change_document, moment_text, read_change
from emberline.trials.corrections import (
    AddEvent,
    Change,
    Correction,
    DeleteEvent,
    EditPlan,
    Exclude,
    Include,
    MoveEvent,
    Target,
    Undo,
    exclusion,
    put_back,
    remarks_meanwhile,
    set_by,
    standing,
    undone_by,
    with_corrections,
    words,
)

BOIL = Target(EventKind.BOIL, 612.0)
MOVED = MoveEvent(BOIL, 620.0, 2.0)
WEIGHED = EditPlan({"fuel.char_left_g": (None, 61.0)})
EVERY = [
    AddEvent(EventKind.LIT, 60.0, 1.0),
    MOVED,
    MoveEvent(Target(EventKind.BOIL, 620.0, 2), 625.0, 2.0),
    DeleteEvent(BOIL),
    DeleteEvent(Target(EventKind.BOIL, 612.0, announced_t_s=630.0)),
    WEIGHED,
    EditPlan({"refuel": ([{"mass_g": 40.0}], None)}),
    Exclude(),
    Include(),
    Undo(3),
]


def log(*changes: Change) -> list[Correction]:
    return [
        Correction(number, number * 10**9, "Ana" if number % 2 else "Ben", "", change)
        for number, change in enumerate(changes, 1)
    ]


@pytest.mark.parametrize("change", EVERY, ids=lambda change: type(change).__name__)
def test_a_change_survives_its_document(change: Change) -> None:
    assert read_change(change_document(change)) == change


def test_an_announcement_is_known_again_once_no_correction_of_its_event_holds() -> None:
    said = Target(EventKind.BOIL, 612.0, announced_t_s=630.0)
    delete, move = DeleteEvent(said), MoveEvent(said, 620.0, 2.0)
    forgotten: list[list[Change]] = [[delete], [move], [DeleteEvent(BOIL), Undo(1)]]
    forgotten += [[delete, Undo(1), move], [delete, Undo(1), Undo(2)]]
    for changes in forgotten:
        assert put_back(log(*changes)) == []
    known: list[list[Change]] = [[delete, Undo(1)], [move, Undo(1)], [delete, Undo(1), move, Undo(3)]]
    for changes in known:
        (event,) = put_back(log(*changes))
        assert (event.kind, event.t_s, event.announced_t_s) == (EventKind.BOIL, 612.0, 630.0)


def test_moments_are_written_in_utc() -> None:
    assert moment_text(1_764_072_000_999_999_999) == "2025-11-25T12:00:00Z"


def test_what_is_undone_does_not_hold_and_an_undoing_can_be_undone() -> None:
    once = log(MOVED, Undo(1))
    assert [entry.number for entry in standing(once)] == [2]
    assert words(once) == {}
    assert undone_by(once) == {1: 2}
    twice = [*once, Correction(3, 0, "Ana", "", Undo(2))]
    assert [entry.number for entry in standing(twice)] == [1, 3]
    assert undone_by(twice) == {2: 3}
    assert list(words(twice)) == [1]


def test_a_move_of_a_move_is_one_word_about_the_event_that_was_found() -> None:
    entries = log(MOVED, MoveEvent(Target(EventKind.BOIL, 620.0, 1), 600.0, 1.0))
    assert words(entries) == {
        2: Word(EventKind.BOIL, 612.0, Event(EventKind.BOIL, 600.0, 1.0, "set by Ben", by_person=True))
    }


def test_a_moved_event_that_is_deleted_is_gone_where_it_was_found() -> None:
    entries = log(MOVED, DeleteEvent(Target(EventKind.BOIL, 620.0, 1)))
    assert words(entries) == {2: Word(EventKind.BOIL, 612.0, None)}
    added = log(AddEvent(EventKind.BOIL, 500.0, 1.0), DeleteEvent(Target(EventKind.BOIL, 500.0, 1)))
    assert words(added) == {2: Word(EventKind.BOIL, 500.0, None)}


def test_an_event_knows_the_correction_that_set_it() -> None:
    entries = log(Exclude(), MOVED)
    (word,) = words(entries).values()
    assert word.event is not None
    assert set_by(entries, word.event) == 2
    assert set_by(entries, replace(word.event, by_person=False)) is None
    assert set_by(entries, Event(EventKind.NOTE, 620.0, 1.0, "", by_person=True)) is None
    remark = Correction(3, 0, "Ana", "low power", AddEvent(EventKind.NOTE, 300.0, 1.0))
    assert set_by([*entries, remark], Event(EventKind.NOTE, 300.0, 1.0, "low power", by_person=True)) == 3


def test_the_reason_stands_in_the_evidence() -> None:
    (word,) = words([Correction(1, 0, "Ana", "the lid rattled", MOVED)]).values()
    assert word.event is not None
    assert word.event.evidence == "set by Ana: the lid rattled"


def test_the_last_word_on_whether_it_counts_holds() -> None:
    assert exclusion(log()) is None
    held = exclusion(log(Exclude()))
    assert held is not None
    assert held.number == 1
    assert exclusion(log(Exclude(), Include())) is None
    assert exclusion(log(Exclude(), Undo(1))) is None
    assert exclusion(log(Exclude(), Include(), Undo(2))) is not None


def test_events_are_as_their_corrections_leave_them() -> None:
    found = Event(EventKind.BOIL, 612.0, 2.0, "curve", announced_t_s=624.0)
    lit = Event(EventKind.LIT, 60.0, 2.0, "curve")
    note = Event(EventKind.NOTE, 300.0, 1.0, "wind", by_person=True)
    entries = log(MOVED)
    moved = Event(EventKind.BOIL, 620.0, 2.0, "set by Ana", announced_t_s=1.0, by_person=True)
    assert with_corrections([lit, note, found], entries, 0) == [lit, note, moved]
    # Once the record was read again, the event is kept with what was read.
    read = replace(moved, evidence="set by Ana; load rose by 5.0 g")
    assert with_corrections([lit, read], entries, 0) == [lit, read]
    # What was taken back is gone before the record is read again.
    assert with_corrections([lit, read], log(MOVED, Undo(1)), 0) == [lit]


def test_a_remark_that_was_added_afterwards_is_what_was_said_and_goes_when_taken_back() -> None:
    live = Event(EventKind.NOTE, 100.0, 1.0, "wind got up", announced_t_s=100.0, by_person=True)
    entry = Correction(1, 10**9, "Ana", "low power", AddEvent(EventKind.NOTE, 300.0, 1.0))
    (word,) = words([entry]).values()
    assert word.event is not None
    assert word.event.evidence == "low power"
    added = word.event.announced(1.0)
    assert with_corrections([live], [entry], 0) == [live, added]
    # A final pass has kept it among the events: it is there once, and not at all when it is taken back.
    assert with_corrections([live, added], [entry], 0) == [live, added]
    assert remarks_meanwhile([live, added], [entry]) == [live]
    assert with_corrections([live, added], [entry, Correction(2, 0, "Ana", "", Undo(1))], 0) == [live]
