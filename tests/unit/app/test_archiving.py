"""A data folder's trials go into an archive, and a run that was broken off is gone on with."""

from pathlib import Path

import pytest

from compared_fixture import fill
from emberline.app import STORE_NAME
from emberline.app.archiving import archiving
from emberline.store.archive import Archive
from emberline.store.errors import StoreMissingError
from emberline.store.store import Store


@pytest.fixture
def data(tmp_path: Path) -> Path:
    with Store.open(tmp_path / STORE_NAME) as store:
        fill(store)
        store.create_trial(bench="yard", start_ns=2 * 10**18)
    return tmp_path


def test_all_that_has_ended_is_archived_once(data: Path) -> None:
    location, names = str(data / "archive"), list[str]()
    due = archiving(data, location)
    assert (len(due.trials), due.running) == (7, 1)
    assert due.run(names.append) == 7
    assert names == [trial.id for trial in due.trials]
    assert archiving(data, location).run() == 0
    assert [one.trial for one in Archive(location).read_all()] == list(due.trials)


def test_a_run_that_was_broken_off_is_gone_on_with(data: Path) -> None:
    location = str(data / "archive")

    def third(name: str) -> None:
        if name.endswith("-3"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        archiving(data, location).run(third)
    assert len(Archive(location).paths()) == 2
    assert archiving(data, location).run() == 5


def test_a_folder_without_a_store_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError):
        archiving(tmp_path, str(tmp_path / "archive"))
