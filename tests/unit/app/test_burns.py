"""Burns of a store and of an archive are the same to those that compare them."""

import json
from pathlib import Path

import pytest

from emberline import app
from emberline.app import burns as module
from emberline.app.archiving import archiving
from emberline.app.burns import archived_burns, stored_burns
from emberline.store.errors import StoreMissingError


@pytest.fixture
def archive(imported: tuple[Path, app.Summary], tmp_path: Path) -> str:
    location = str(tmp_path / "archive")
    assert archiving(imported[0] / "data", location).run() == 1
    return location


def test_an_archive_has_the_trials_and_the_documents_of_its_store(
    imported: tuple[Path, app.Summary], archive: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored, archived = stored_burns(imported[0] / "data"), archived_burns(archive)
    monkeypatch.setattr(module, "analysis_of", lambda *_: pytest.fail("worked out again"))
    (trial,) = archived.reader.trials()
    assert [trial] == stored.reader.trials()
    assert archived.document(trial) == stored.document(trial) == json.loads(imported[1].text)


def test_a_summary_of_another_version_is_worked_out_anew_to_the_same_document(
    imported: tuple[Path, app.Summary], archive: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("emberline.app.summaries.__version__", "9.9.9")
    stages: list[str] = []
    archived = archived_burns(archive, stages.append)
    (trial,) = archived.reader.trials()
    assert archived.document(trial) == json.loads(imported[1].text)
    assert stages == ["reading the archive", f"finding the events of {trial.id}"]


def test_an_archive_that_there_is_not_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError):
        archived_burns(str(tmp_path / "none"))
