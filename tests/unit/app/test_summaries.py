import json
from pathlib import Path

import pytest

from emberline import app
from emberline.app import STORE_NAME, summaries
from emberline.store.errors import StoreBusyError, StoreMissingError, UnknownTrialError
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from unit.app.small_burn import NOON_NS


def test_a_stored_summary_is_not_worked_out_again(
    imported: tuple[Path, app.Summary], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, summary = imported
    monkeypatch.setattr(summaries, "analysis_of", lambda *_, **__: pytest.fail("worked out again"))
    again = app.summary_of(folder / "data", "last")
    assert again.text == summary.text
    assert [trial.id for trial, _ in app.listed(folder / "data")] == [summary.trial.id]
    assert app.listed(folder / "data")[0][1] == summary.document


def test_a_trial_that_got_its_plan_later_is_listed_under_the_plans_label(tmp_path: Path) -> None:
    with Store.open(tmp_path / STORE_NAME) as store:
        trial = store.create_trial(bench="yard", start_ns=NOON_NS, zone="UTC")
        assert app.listed(tmp_path)[0][0].label is None
        store.save_plan(trial.id, 'label = "chips, run 3"\n')
    assert app.listed(tmp_path)[0][0].label == "chips, run 3"


def test_another_version_works_it_out_anew_from_the_stored_samples_to_the_same_bytes(
    imported: tuple[Path, app.Summary], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, summary = imported
    page = summary.page.read_bytes()
    with Store.open(folder / "data" / STORE_NAME) as store:
        store.save_summary(summary.trial.id, json.dumps({"old": True}), "0.0.1")
    summary.page.unlink()
    again = app.summary_of(folder / "data", summary.trial.id)
    assert again.text == summary.text
    assert again.page.read_bytes() == page
    kept = StoreReader(folder / "data" / STORE_NAME).summary(summary.trial.id)
    assert kept is not None
    assert kept.document == summary.text


def test_while_another_program_records_the_summary_is_shown_all_the_same(imported: tuple[Path, app.Summary]) -> None:
    folder, summary = imported
    summary.page.unlink()
    with Store.open(folder / "data" / STORE_NAME):
        assert app.summary_of(folder / "data", summary.trial.id).text == summary.text
        with pytest.raises(StoreBusyError):
            app.import_burn(folder / "burn.csv", folder / "data")


def test_what_is_not_there(tmp_path: Path) -> None:
    for call in (
        lambda: app.summary_of(tmp_path, "last"),
        lambda: app.export_trial(tmp_path, "last", tmp_path / "x.csv", raw=True),
        lambda: app.listed(tmp_path),
    ):
        with pytest.raises(StoreMissingError):
            call()
    Store.open(tmp_path / STORE_NAME).close()
    assert app.listed(tmp_path) == []
    with pytest.raises(UnknownTrialError, match="no trial yet"):
        app.summary_of(tmp_path, "last")
    with pytest.raises(UnknownTrialError, match="'7'"):
        app.summary_of(tmp_path, "7")
