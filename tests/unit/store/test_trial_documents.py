"""Documents of a trial: what is written comes back, and what was changed is refused in words."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Retraction
from emberline.store.errors import ExportError, PackError
from emberline.store.records import StoredAlarm, Trial
from emberline.store.store import Store
from emberline.store.trial_documents import TRIAL, read_texts, texts_of
from emberline.trials.corrections import Correction, Exclude
from unit.store.made_up import NOON_NS, SECOND_NS, batch, gap

EVENTS = (
    Event(EventKind.LIT, 12.5, 0.7, "loss of 0.1 g/s", announced_t_s=20.0),
    Event(EventKind.REFUEL, 90.0, 1.0, "step", ufloat(61.25, 0.4, "size"), confirmed=False),
)
ALARM = StoredAlarm("shed", "cell_hot", NOON_NS + 30 * SECOND_NS, "71 °C", NOON_NS + 50 * SECOND_NS, None, "")
LATER = replace(ALARM, raised_ns=NOON_NS + 600 * SECOND_NS, cleared_ns=None)
RETRACTED = (Retraction(EventKind.BOIL, 30.0, 44.0, "it cooled"),)
PLAN_TEXT = 'label = "one"\nseries = "holes-1"\nrun = 2\n'
SERIES = {"name": "holes-1", "seed": 7}


def burnt(store: Store) -> Trial:
    """Enter a trial of which everything is known."""
    store.plan_series("holes-1", json.dumps(SERIES))
    trial = store.create_trial(bench="shed", start_ns=NOON_NS, zone="Europe/Oslo", bench_text="# none\n", label="a")
    store.commit("shed", [batch(0, 50)], [gap(50, 60)])
    store.keep_alarms([ALARM, LATER])
    store.save_plan(trial.id, 'label = "none"\n')
    store.save_plan(trial.id, PLAN_TEXT)
    store.end_trial(trial.id, NOON_NS + 60 * SECOND_NS)
    store.save_events(trial.id, EVENTS, RETRACTED)
    store.add_correction(trial.id, Correction(1, 5, "me", "rain", Exclude()))
    return store.trial(trial.id)


def test_all_that_is_known_of_a_trial_comes_back(store: Store) -> None:
    trial = burnt(store)
    found = read_texts(texts_of(store, trial), "here")
    assert found.trial == trial
    assert [(e.kind, e.t_s, e.announced_t_s, e.confirmed) for e in found.events] == [
        (e.kind, e.t_s, e.announced_t_s, e.confirmed) for e in EVENTS
    ]
    size = found.events[1].size_g
    assert size is not None
    assert (size.n, size.s) == (61.25, 0.4)
    assert found.retracted == RETRACTED
    assert found.corrections == (Correction(1, 5, "me", "rain", Exclude()),)
    assert found.gaps == (gap(50, 60),)
    assert found.alarms == (ALARM,)
    assert [text for _, text in found.plans] == ['label = "none"\n', PLAN_TEXT]
    name, document = found.series
    assert (name, json.loads(document)) == ("holes-1", SERIES)


def test_a_series_that_nobody_planned_here_is_left_out(store: Store) -> None:
    trial = store.create_trial(bench="shed", start_ns=NOON_NS, plan_text=PLAN_TEXT)
    store.end_trial(trial.id, NOON_NS + SECOND_NS)
    assert read_texts(texts_of(store, store.trial(trial.id)), "here").series == ("", "")


def test_what_an_earlier_version_wrote_has_no_history(store: Store) -> None:
    texts = texts_of(store, burnt(store))
    document = json.loads(texts[TRIAL])
    for key in ("gaps", "alarms", "plans", "series"):
        del document[key]
    found = read_texts({**texts, TRIAL: json.dumps(document)}, "here")
    assert (found.gaps, found.alarms, found.plans, found.series) == ((), (), (), ("", ""))


def test_a_trial_that_runs_has_no_documents_yet(store: Store, tmp_path: Path) -> None:
    trial = store.create_trial(bench="shed", start_ns=NOON_NS)
    with pytest.raises(ExportError, match="still running"):
        texts_of(store, trial)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"schema": "emberline.pack/2"}, "newer Emberline"),
        ({"events": [{"kind": "explosion"}]}, "was changed"),
        ({"gaps": [{"device": "dev"}]}, "was changed"),
        ({"plans": [3]}, "was changed"),
        ({"series": "holes-1"}, "was changed"),
        ({"corrections": None}, "was changed"),
    ],
)
def test_documents_that_were_changed_are_refused(store: Store, change: dict[str, object], why: str) -> None:
    texts = texts_of(store, burnt(store))
    document = json.loads(texts[TRIAL]) | change
    with pytest.raises(PackError, match=why):
        read_texts({**texts, TRIAL: json.dumps(document)}, "here")
