"""Trials of an archive, found by the names that tell them apart."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from emberline.store.archive import Archive
from emberline.store.archive_reader import ArchiveReader
from emberline.store.errors import ArchiveError, UnknownSeriesError, UnknownTrialError
from emberline.store.records import StoredAlarm
from emberline.store.store import Store
from unit.store.archived import exactly, trial_of
from unit.store.made_up import NOON_NS, SECOND_NS, gap

SERIES = {"name": "holes-1", "seed": 7}
PLAN = 'series = "holes-1"\nrun = 1\n'


def archived(folder: Path, *benches: str, series: dict[str, object] | None = None) -> ArchiveReader:
    """Archive a trial of each bench, every one from a store of its own."""
    archive = Archive(str(folder / "archive"))
    for number, bench in enumerate(benches):
        with Store.open(folder / f"{number}.sqlite3", lambda number=number: NOON_NS + number) as store:  # type: ignore[misc]
            if series is not None:
                store.plan_series("holes-1", json.dumps(series | {"store": number} if number == 2 else series))
            archive.keep(store, trial_of(store, bench, plan_text="" if series is None else PLAN))
    return ArchiveReader(archive, archive.read_all())


def test_a_name_that_is_the_only_one_is_the_trials_own(tmp_path: Path, store: Store) -> None:
    reader = archived(tmp_path, "yard")
    (trial,) = reader.trials()
    assert trial.id == "2025-11-25-1"
    assert reader.trial("yard/2025-11-25-1") == trial
    summary = reader.summary(trial.id)
    assert summary is not None
    assert summary.document == '{"trial": "made up"}'
    assert sum(map(len, reader.trial_batches(trial))) == 120
    assert (reader.events(trial.id), reader.retractions(trial.id), reader.corrections(trial.id)) == ([], [], [])
    assert reader.plans(trial.id) == []


def test_trials_of_two_stores_with_one_id_are_told_apart_by_their_benches(tmp_path: Path) -> None:
    reader = archived(tmp_path, "yard", "shed")
    assert [trial.id for trial in reader.trials()] == ["yard/2025-11-25-1", "shed/2025-11-25-1"]
    for trial in reader.trials():
        assert {one.device for one in reader.trial_batches(trial)} == {trial.bench}
    with pytest.raises(UnknownTrialError, match="say one of yard/2025-11-25-1, shed/2025-11-25-1"):
        reader.trial("2025-11-25-1")


def test_two_of_one_bench_are_told_apart_by_their_files(tmp_path: Path) -> None:
    reader = archived(tmp_path, "yard", "yard", "shed")
    names = [trial.id for trial in reader.trials()]
    assert names == [f"yard/2025-11-25-1-{NOON_NS:x}", f"yard/2025-11-25-1-{NOON_NS + 1:x}", "shed/2025-11-25-1"]
    assert all(reader.trial(name).id == name for name in names)


def test_a_trial_that_there_is_not_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnknownTrialError, match="no trial '2020-01-01-1' in the archive"):
        archived(tmp_path, "yard").trial("2020-01-01-1")


def test_losses_and_alarms_of_a_bench_are_those_of_its_trials(tmp_path: Path, store: Store) -> None:
    trial = trial_of(store)
    store.commit("yard", [], [gap(60, 70), gap(200, 300)])
    hot = StoredAlarm("yard", "cell_hot", NOON_NS + 5 * SECOND_NS, "71 °C", None, None, "")
    store.keep_alarms([hot, replace(hot, raised_ns=NOON_NS + 60 * SECOND_NS)])
    store.end_trial(trial.id, NOON_NS + 10 * SECOND_NS)
    archive = Archive(str(tmp_path / "archive"))
    archive.keep(store, store.trial(trial.id))
    reader = ArchiveReader(archive, archive.read_all())
    assert reader.gaps("yard", NOON_NS, NOON_NS + 30 * SECOND_NS) == [gap(60, 70)]
    assert reader.gaps("yard", NOON_NS, NOON_NS + SECOND_NS) == reader.gaps("shed", NOON_NS, 2 * NOON_NS) == []
    assert reader.alarms("yard", NOON_NS, NOON_NS + 30 * SECOND_NS) == [hot]
    assert reader.alarms("yard", NOON_NS, NOON_NS) == reader.alarms("shed", NOON_NS, 2 * NOON_NS) == []
    assert exactly(list(reader.trial_commits(reader.trial(trial.id)))) == exactly(list(store.trial_commits(trial)))


def test_a_series_is_that_of_its_trials_and_must_be_one(tmp_path: Path) -> None:
    assert json.loads(archived(tmp_path, "yard", "shed", series=SERIES).series("holes-1")) == SERIES
    with pytest.raises(UnknownSeriesError, match="'holes-2'"):
        archived(tmp_path, "yard").series("holes-2")


def test_different_series_of_one_name_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="2 different series"):
        archived(tmp_path, "yard", "shed", "barn", series=SERIES).series("holes-1")
