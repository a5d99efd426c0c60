import pytest
from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Phase, first, last

BOILS = (
    Event(EventKind.BOIL, 900.0, 2.0, "second filling"),
    Event(EventKind.LIT, 60.0, 5.0, "mass fell"),
    Event(EventKind.BOIL, 400.0, 1.0, "first filling"),
)


def test_first_and_last_go_by_time_and_not_by_place() -> None:
    for kind, earliest, latest in ((EventKind.BOIL, 400.0, 900.0), (EventKind.LIT, 60.0, 60.0)):
        found = first(BOILS, kind), last(BOILS, kind)
        assert [event.t_s for event in found if event is not None] == [earliest, latest]


def test_an_event_that_did_not_happen_is_none() -> None:
    assert first(BOILS, EventKind.FLAMEOUT) is None
    assert last((), EventKind.BOIL) is None


def test_an_announcement_changes_nothing_else() -> None:
    event = Event(EventKind.REFUEL, 300.0, 2.0, "load rose", ufloat(60.0, 0.3))
    said = event.announced(312.0)
    assert said.announced_t_s == 312.0
    assert said.announced(None) == event


def test_an_event_moves_with_the_start_of_its_record() -> None:
    assert BOILS[1].later(120.0).t_s == 180.0
    assert BOILS[1].t_s == 60.0


def test_events_cannot_be_changed() -> None:
    with pytest.raises(AttributeError):
        BOILS[0].t_s = 1.0  # type: ignore[misc]


def test_words_are_those_of_the_documents() -> None:
    assert [kind.value for kind in EventKind] == [
        "lit", "pot_on", "boil", "pot_off", "refuel", "flameout", "step", "note",
    ]  # fmt: skip
    assert [phase.value for phase in Phase] == ["waiting", "kindling", "flaming", "char", "ended"]
