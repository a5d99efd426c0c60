"""A stored trial in words."""

import json
from zoneinfo import ZoneInfo

from emberline.store.store import Store
from emberline.trials.corrections import Correction, Exclude
from emberline.web.trial_files import folder_of
from emberline.web.trial_words import began, entries_of, local_time
from unit.store.made_up import NOON_NS, SECOND_NS

LISTING = {
    "label": "chips", "factors": {"fuel": "chips"}, "notes": ["wind"], "results": {"burn_time": [1500.0, 5.0, "s"]},
    "absent": {"burn_time": "it burns on"}, "spark": [1.0, None], "excluded": None, "corrected": True,
    "unconfirmed_boil": True, "corrections": 0,
}  # fmt: skip


def test_moments_are_local_with_their_offset() -> None:
    assert local_time(NOON_NS, ZoneInfo("Europe/Vienna")) == "2025-11-25 13:00 +01:00"


def test_a_listed_trial_is_read_and_not_made(store: Store) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS, zone="Europe/Vienna", origin="import", source="a.csv")
    store.end_trial(trial.id, NOON_NS + SECOND_NS)
    store.save_summary(trial.id, "{}", "0.1.0", json.dumps(LISTING))
    (entry,) = entries_of(store)
    assert (entry.name, entry.began, entry.running, entry.behind) == ("chips", "2025-11-25 13:00 +01:00", False, False)
    assert entry.results["burn_time"].value == 1500.0
    assert (entry.corrected, entry.unconfirmed_boil, entry.failed) == (True, True, "it burns on")
    store.add_correction(trial.id, Correction(1, NOON_NS, "Ana", "wind", Exclude()))
    assert entries_of(store)[0].behind


def test_a_trial_without_a_summary_is_named_by_its_plan(store: Store) -> None:
    store.create_trial(bench="yard", start_ns=NOON_NS, relative=True, plan_text='label = "bark"\nfactors = {a = "b"}\n')
    store.create_trial(bench="yard", start_ns=NOON_NS, source="a.csv", plan_text="not TOML")
    first, second = entries_of(store)
    assert (first.name, first.factors, first.running, first.behind, first.began) == ("bark", {"a": "b"}, True, True, "")
    assert second.name == "a.csv"


def test_a_summary_of_an_earlier_version_is_listed_without_figures(store: Store) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS, label="old")
    store.end_trial(trial.id, NOON_NS + SECOND_NS)
    store.save_summary(trial.id, "{}", "0.0.1")
    (entry,) = entries_of(store)
    assert (entry.name, entry.behind, entry.results) == ("old", False, {})
    assert began(trial) == "2025-11-25 12:00 +00:00"


def test_a_running_trial_is_listed_with_its_provisional_figures(store: Store) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS, label="now")
    folder = folder_of(store.path, trial.id)
    folder.mkdir(parents=True)
    (folder / "listing.json").write_text("{half", encoding="utf-8")
    (entry,) = entries_of(store)
    assert (entry.name, entry.running, entry.provisional, entry.results) == ("now", True, False, {})
    (folder / "listing.json").write_text(json.dumps(LISTING), encoding="utf-8")
    (entry,) = entries_of(store)
    assert (entry.running, entry.provisional, entry.results["burn_time"].value) == (True, True, 1500.0)
    # Once it has ended, what was kept with its final summary counts.
    store.end_trial(trial.id, NOON_NS + SECOND_NS)
    assert entries_of(store)[0].behind
