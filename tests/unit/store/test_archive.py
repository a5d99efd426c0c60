"""An archive: what is new or changed is written, by bench and month; the rest is left alone."""

import json
from dataclasses import replace
from pathlib import Path

import pyarrow.dataset as ds
import pytest

from emberline import __version__
from emberline.curves.events import Event, EventKind
from emberline.store import archive as module
from emberline.store.archive import Archive
from emberline.store.archive_reader import ArchiveReader
from emberline.store.errors import ArchiveError, ExportError, StoreMissingError
from emberline.store.records import StoredSummary
from emberline.store.store import Store
from emberline.trials.corrections import Correction, Exclude
from unit.store.archived import archive_of, exactly, trial_of
from unit.store.made_up import NOON_NS, batch


def test_a_trial_is_written_once_and_again_when_it_changes(store: Store, tmp_path: Path) -> None:
    trial = trial_of(store)
    archive = archive_of(tmp_path, store, trial)
    (path,) = archive.paths()
    assert path == f"{tmp_path}/archive/bench=yard/month=2025-11/2025-11-25-1-{NOON_NS:x}.parquet"
    assert not archive.keep(store, trial)
    changes = (
        lambda: store.add_correction(trial.id, Correction(1, 5, "me", "rain", Exclude())),
        lambda: store.save_summary(trial.id, "{}", "9.9.9"),
        lambda: store.save_plan(trial.id, 'label = "new"\n'),
        lambda: store.save_events(trial.id, [Event(EventKind.LIT, 1.0, 0.5, "lit")]),
        lambda: store.commit("yard", [batch(30, 5, channel="late")]),
    )
    for change in changes:
        change()
        now = store.trial(trial.id)
        assert archive.keep(store, now)
        assert not archive.keep(store, now)
    (one,) = archive.read_all()
    # How often readings came after its end concerns only the daemon that makes its summary anew.
    assert one.trial == replace(store.trial(trial.id), additions=0)
    assert one.summary == StoredSummary("{}", "9.9.9")
    assert [correction.why for correction in one.documents.corrections] == ["rain"]
    reader = ArchiveReader(archive, [one])
    assert exactly(list(reader.trial_commits(one.trial))) == exactly(list(store.trial_commits(trial)))


def test_another_version_of_the_program_changes_nothing(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = trial_of(store)
    archive = archive_of(tmp_path, store, trial)
    monkeypatch.setattr("emberline.store.trial_documents.__version__", "9.9.9")
    assert not archive.keep(store, trial)


def test_a_damaged_file_is_written_anew(store: Store, tmp_path: Path) -> None:
    trial = trial_of(store)
    archive = archive_of(tmp_path, store, trial)
    Path(archive.paths()[0]).write_bytes(b"PAR1 half a file")
    with pytest.raises(ArchiveError, match="delete it, and run `emberline archive` where"):
        archive.read_all()
    assert archive.keep(store, trial)
    assert archive.read_all()[0].trial == trial


def test_a_trial_that_runs_is_not_archived(store: Store, tmp_path: Path) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    with pytest.raises(ExportError, match="still running"):
        Archive(str(tmp_path / "a")).keep(store, trial)


def test_results_are_replaced_and_an_unchanged_store_leaves_them_so(store: Store, tmp_path: Path) -> None:
    trial = trial_of(store)
    archive = archive_of(tmp_path, store, trial)
    (one,) = archive.read_all()
    before = exactly(list(ArchiveReader(archive, [one]).trial_commits(trial)))
    newer = StoredSummary('{"trial": "newer"}', "9.9.9", "{}")
    archive.replace_results(one, newer, [Event(EventKind.BOIL, 5.0, 0.5, "boils")], [])
    assert not archive.keep(store, trial), "the store has nothing new, and its results are older"
    (other,) = archive.read_all()
    assert other.summary == newer
    assert [event.kind for event in other.documents.events] == [EventKind.BOIL]
    assert exactly(list(ArchiveReader(archive, [other]).trial_commits(trial))) == before
    store.add_correction(trial.id, Correction(1, 5, "me", "rain", Exclude()))
    assert archive.keep(store, trial)
    assert archive.read_all()[0].summary == StoredSummary('{"trial": "made up"}', __version__, "{}")


def test_other_files_are_none_of_the_archives(store: Store, tmp_path: Path) -> None:
    archive = archive_of(tmp_path, store, trial_of(store))
    (path,) = archive.paths()
    for name in ("notes.parquet", f"{path}.unfinished", "bench=yard/month=2025-11/readme.txt"):
        (tmp_path / "archive" / name).write_bytes(b"x")
    assert archive.paths() == [path]


def test_where_there_is_no_archive_it_is_said_how_one_is_made(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError, match="`emberline archive` writes them"):
        Archive(str(tmp_path / "nowhere")).read_all()


def test_a_location_that_nobody_knows_is_refused() -> None:
    with pytest.raises(ArchiveError, match="cannot be used"):
        Archive("gopher://burns")


def test_a_bench_of_a_foreign_pack_does_not_become_a_path(store: Store, tmp_path: Path) -> None:
    trial = replace(trial_of(store), bench="../../elsewhere")
    path = Archive(str(tmp_path / "archive")).path_of(trial)
    assert Path(path).parents[2] == tmp_path / "archive"
    assert "bench=..%2F..%2Felsewhere/" in path


def test_a_later_kind_of_archive_is_refused(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = archive_of(tmp_path, store, trial_of(store))
    monkeypatch.setattr(module, "SCHEMA", "emberline.archive/0")
    with pytest.raises(ArchiveError, match="newer Emberline"):
        archive.read_all()


def test_an_archive_may_lie_anywhere_that_fsspec_knows(store: Store, tmp_path: Path) -> None:
    trial = trial_of(store)
    archive = Archive(f"memory://{tmp_path.name}/archive")
    assert archive.keep(store, trial)
    assert not archive.keep(store, trial)
    (one,) = archive.read_all()
    found = exactly(list(ArchiveReader(archive, [one]).trial_commits(trial)))
    assert found == exactly(list(store.trial_commits(trial)))


def test_other_programs_read_bench_and_month_from_the_folders(store: Store, tmp_path: Path) -> None:
    """Source: Apache Arrow's own reader of folders partitioned by name=value ("hive" partitioning)."""
    archive_of(tmp_path, store, trial_of(store, "yard"), trial_of(store, "shed"))
    found = ds.dataset(tmp_path / "archive", partitioning="hive").to_table().to_pandas()
    assert sorted(found["bench"].unique()) == ["shed", "yard"]
    assert list(found["month"].unique()) == ["2025-11"]
    yard = found[(found["bench"] == "yard") & (found["channel"] == "mass")].sort_values("seq")
    sent = [one for one in store.batches("yard") if one.channel == "mass"]
    assert yard["raw"].tolist() == [value for one in sent for value in one.raw.tolist()]
    assert yard["t_ns"].tolist() == [t_ns for one in sent for t_ns in one.t_ns.tolist()]


def test_the_documents_can_be_read_without_this_program(store: Store, tmp_path: Path) -> None:
    """Source: the metadata are plain key and value pairs of the Parquet format, and JSON."""
    import pyarrow.parquet as pq

    archive = archive_of(tmp_path, store, trial_of(store))
    found = pq.read_metadata(archive.paths()[0]).metadata
    assert json.loads(found[b"trial.json"])["trial"]["bench"] == "yard"
    assert json.loads(found[b"summary.json"]) == {"trial": "made up"}
