"""Trials are worked out anew once by each version; one that fails is named and leaves the others alone."""

import json
import shutil
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path

import pytest

from emberline import __version__, app
from emberline.app.archiving import archiving
from emberline.app.reanalysing import Outcome, due_in_archive, due_in_store, reanalyse
from emberline.store.archive import Archive
from emberline.store.errors import StoreMissingError
from emberline.store.store import Store
from emberline.trials.corrections import Correction, Exclude


@pytest.fixture
def data(imported: tuple[Path, app.Summary], tmp_path: Path) -> Path:
    """A data folder whose only trial an earlier version worked out."""
    folder = tmp_path / "data"
    shutil.copytree(imported[0] / "data", folder)
    with Store.open(folder / app.STORE_NAME) as store:
        store.save_summary(imported[1].trial.id, '{"corrections": []}', "0.0.1")
        store.save_events(imported[1].trial.id, [])
    return folder


@pytest.fixture
def executor() -> Iterator[Executor]:
    with ThreadPoolExecutor(1) as one:
        yield one


def in_store(executor: Executor, data: Path, *, again: bool = False) -> Outcome:
    with Store.open(data / app.STORE_NAME) as store:
        return reanalyse(executor, due_in_store(data, again=again).jobs, store)


def in_archive(executor: Executor, location: str, *, again: bool = False) -> Outcome:
    return reanalyse(executor, due_in_archive(location, again=again).jobs, None)


def test_a_store_is_worked_out_once(data: Path, executor: Executor, imported: tuple[Path, app.Summary]) -> None:
    assert in_store(executor, data) == Outcome(1, {})
    assert in_store(executor, data) == Outcome(0, {})
    with Store.open(data / app.STORE_NAME) as store:
        kept = store.summary(imported[1].trial.id)
        assert kept is not None
        assert (kept.document, kept.version) == (imported[1].text, __version__)
        assert [event.kind for event in store.events(imported[1].trial.id)]
        store.add_correction(imported[1].trial.id, Correction(1, 5, "me", "rain", Exclude()))
    assert in_store(executor, data) == Outcome(1, {}), "a summary that knows of fewer corrections is no longer it"
    assert in_store(executor, data, again=True) == Outcome(1, {})


def test_an_archive_is_worked_out_once(data: Path, executor: Executor, imported: tuple[Path, app.Summary]) -> None:
    location, names = str(data / "archive"), list[str]()
    archiving(data, location).run()
    jobs = due_in_archive(location, again=False).jobs
    assert reanalyse(executor, jobs, None, names.append) == Outcome(1, {})
    assert names == [job.name for job in jobs]
    (one,) = Archive(location).read_all()
    assert one.summary is not None
    assert (one.summary.document, one.summary.version) == (imported[1].text, __version__)
    assert json.loads(one.summary.listing)
    assert one.documents.events
    assert (list(due_in_archive(location, again=False).jobs), due_in_archive(location, again=False).done) == ([], 1)
    assert in_archive(executor, location, again=True) == Outcome(1, {})


def test_work_that_is_done_twice_since_its_worker_died_comes_to_the_same(data: Path) -> None:
    location = str(data / "archive")
    archiving(data, location).run()
    (job,) = due_in_archive(location, again=False).jobs
    summaries = []
    for _ in range(2):
        assert job.work() is None
        summaries.append(Archive(location).read_all()[0].summary)
    assert summaries[0] == summaries[1]


def test_a_damaged_file_is_named_and_the_others_are_done(data: Path, executor: Executor) -> None:
    location = str(data / "archive")
    archiving(data, location).run()
    (path,) = map(Path, Archive(location).paths())
    damaged = path.with_name("2020-01-01-1-1.parquet")
    damaged.write_bytes(path.read_bytes()[:-5])
    outcome = in_archive(executor, location)
    assert (outcome.done, list(outcome.failed)) == (1, [damaged.name])
    assert "cut off" in outcome.failed[damaged.name]


def test_where_there_is_nothing_it_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError):
        due_in_store(tmp_path, again=False)
    with pytest.raises(StoreMissingError):
        due_in_archive(str(tmp_path / "none"), again=False)
