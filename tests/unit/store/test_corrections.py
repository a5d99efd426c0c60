"""Corrections as they are kept."""

import pytest

from emberline.curves.events import EventKind
from emberline.store.errors import StoreError, UnknownTrialError
from emberline.store.store import Store
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
from unit.store.made_up import NOON_NS

CHANGES: tuple[Change, ...] = (
    AddEvent(EventKind.LIT, 60.25, 1.0),
    MoveEvent(Target(EventKind.LIT, 60.25, 1), 61.0, 0.5),
    DeleteEvent(Target(EventKind.BOIL, 612.4)),
    EditPlan({"fuel.char_left_g": (None, 61.5), "refuel": ([{"mass_g": 40.0, "lot": "ash"}], None)}),
    Exclude(),
    Include(),
    Undo(3),
)


def test_corrections_come_back_as_they_were_made_and_in_their_order(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS).id
    assert store.corrections(trial) == []
    entries = [Correction(n, NOON_NS + n, "Ana", f"why {n}", change) for n, change in enumerate(CHANGES, 1)]
    for entry in entries:
        store.add_correction(trial, entry)
    assert store.corrections(trial) == entries


def test_a_correction_of_the_plan_is_kept_with_the_plan_and_the_label_in_it(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS, label="chips", plan_text="")
    store.add_correction(trial.id, Correction(1, NOON_NS, "Ana", "", Exclude()))
    assert (store.trial(trial.id).plan_text, store.trial(trial.id).label) == ("", "chips")
    edit = EditPlan({"label": ("chips", "bark")})
    store.add_correction(trial.id, Correction(2, NOON_NS, "Ana", "", edit), 'label = "bark"\n')
    corrected = store.trial(trial.id)
    assert (corrected.plan_text, corrected.label) == ('label = "bark"\n', None)


def test_only_the_next_number_is_taken(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS).id
    store.add_correction(trial, Correction(1, NOON_NS, "Ana", "", Exclude()))
    for number in (1, 3):
        with pytest.raises(StoreError, match="not the next one"):
            store.add_correction(trial, Correction(number, NOON_NS, "Ben", "", Include()), 'label = "x"\n')
    assert len(store.corrections(trial)) == 1
    assert store.trial(trial).plan_text == ""


def test_unknown_trials(store: Store) -> None:
    with pytest.raises(UnknownTrialError):
        store.corrections("x")
    with pytest.raises(UnknownTrialError):
        store.add_correction("x", Correction(1, NOON_NS, "Ana", "", Exclude()))


def test_what_a_list_shows_is_kept_beside_the_summary(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS).id
    store.create_trial(bench="b", start_ns=NOON_NS)
    store.save_summary(trial, "{}", "0.1.0")
    assert store.listings() == {trial: ""}
    store.save_summary(trial, "{}", "0.1.0", '{"spark": []}')
    assert store.listings() == {trial: '{"spark": []}'}
