"""A person's word in the place of what was found."""

import pytest

from emberline.curves.events import Event, EventKind
from emberline.curves.words import Word, with_words


def found(kind: EventKind, *times_s: float) -> list[Event]:
    return [Event(kind, t_s, 2.0, "curve") for t_s in times_s]


def said(kind: EventKind, t_s: float) -> Event:
    return Event(kind, t_s, 1.0, "set by Ana", by_person=True)


def test_an_added_event_replaces_the_nearest_of_its_kind() -> None:
    events = [*found(EventKind.REFUEL, 500.0, 520.0, 900.0), *found(EventKind.BOIL, 515.0)]
    got = with_words(events, [Word(EventKind.REFUEL, None, said(EventKind.REFUEL, 517.0))])
    assert [(event.kind.value, event.t_s) for event in got] == [
        ("refuel", 500.0), ("boil", 515.0), ("refuel", 517.0), ("refuel", 900.0),
    ]  # fmt: skip


def test_an_added_event_far_from_all_is_one_more() -> None:
    got = with_words(found(EventKind.REFUEL, 500.0), [Word(EventKind.REFUEL, None, said(EventKind.REFUEL, 700.0))])
    assert [event.t_s for event in got] == [500.0, 700.0]


@pytest.mark.parametrize("kind", [EventKind.LIT, EventKind.FLAMEOUT])
def test_what_happens_once_is_replaced_however_far(kind: EventKind) -> None:
    assert with_words(found(kind, 60.0), [Word(kind, None, said(kind, 2000.0))]) == [said(kind, 2000.0)]


def test_a_deleted_event_does_not_come_back_where_detectors_date_it_a_little_otherwise() -> None:
    assert with_words(found(EventKind.BOIL, 612.0), [Word(EventKind.BOIL, 600.0, None)]) == []
    assert with_words(found(EventKind.STEP, 612.0), [Word(EventKind.STEP, 580.0, None)]) != []


def test_a_word_about_what_is_not_found_any_more_still_sets_its_event() -> None:
    moved = said(EventKind.BOIL, 650.0)
    assert with_words([], [Word(EventKind.BOIL, 600.0, moved)]) == [moved]


def test_a_persons_own_events_and_remarks_are_nothing_found() -> None:
    mine = [said(EventKind.BOIL, 600.0), said(EventKind.NOTE, 600.0)]
    assert Word(EventKind.BOIL, 600.0, None).nearest(mine) is None
    assert Word(EventKind.NOTE, 600.0, None).nearest(mine) is None
