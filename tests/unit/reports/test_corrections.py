"""Corrections in words."""

from zoneinfo import ZoneInfo

from emberline.curves.events import EventKind
from emberline.reports.corrections import correction_rows
from emberline.reports.figures import SPACE
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
)

NOON_NS = 1_764_072_000_000_000_000
BOIL = Target(EventKind.BOIL, 702.0)
CHANGES: tuple[Change, ...] = (
    AddEvent(EventKind.POT_ON, 180.0, 1.0),
    MoveEvent(BOIL, 660.0, 3.0),
    DeleteEvent(BOIL),
    EditPlan({"fuel.char_left_g": (None, 61.5)}),
    EditPlan({"pot.lid": (True, None), "refuel": ([{"mass_g": 40.0, "lot": "ash"}], [])}),
    Exclude(),
    Include(),
    Undo(3),
    AddEvent(EventKind.NOTE, 360.0, 1.0),
)
LOG = [Correction(n, NOON_NS + n, "Ana", "it rattled" if n == 2 else "", one) for n, one in enumerate(CHANGES, 1)]


def test_each_says_what_it_was_before_in_times_from_lit() -> None:
    rows = correction_rows(LOG, 60.0, ZoneInfo("Europe/Vienna"))
    told = [(row.what.replace(SPACE, " "), row.before) for row in rows]
    assert told == [
        ("Pot on set at 2:00.0 ± 2.0 s", ""),
        ("Boil moved to 10:00 ± 6 s", "10:42"),
        ("Boil deleted", "10:42"),
        ("Plan: fuel.char_left_g = 61.5", ""),
        ("Plan: pot.lid = nothing, refuel = ()", "pot.lid = yes, refuel = (mass_g 40.0, lot ash)"),
        ("Excluded: does not count", ""),
        ("Counts again", ""),
        ("Correction 3 taken back", ""),
        ("Remark added at 5:00", ""),
    ]


def test_each_says_who_when_why_and_what_took_it_back() -> None:
    rows = correction_rows(LOG, 0.0, ZoneInfo("Europe/Vienna"))
    assert (rows[1].number, rows[1].who, rows[1].when, rows[1].why, rows[1].undone) == (
        2, "Ana", "2025-11-25 13:00:00 +0100", "it rattled", "",
    )  # fmt: skip
    assert rows[2].undone == "taken back by correction 8"
