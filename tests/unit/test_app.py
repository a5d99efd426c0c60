import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from emberline import app
from emberline.app import STORE_NAME, OutputError
from emberline.bench.bench_template import bench_template
from emberline.bench.channels import Role
from emberline.config import ConfigError
from emberline.links.errors import RecordingError
from emberline.store.errors import ExportError, StoreBusyError, StoreMissingError, UnknownTrialError
from emberline.store.store import Store, StoreReader

NOON_NS = 1_764_072_000_000_000_000


def burn(seconds: int = 240) -> str:
    """A mass that stands still, then falls steadily, beside an unlit thermometer."""
    rows = [f"{t},{800.0 - max(0.0, t - 60) * 0.12:.2f},18.5,shut\n" for t in range(seconds)]
    return "time,mass_g,room temperature,door\n" + "".join(rows)


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, app.Summary]:
    folder = tmp_path_factory.mktemp("app")
    (folder / "burn.csv").write_text(burn() + "power cut\n")
    (folder / "plan.toml").write_text('label = "planned"\n[fuel]\nmass_g = 200.0\n')
    stages: list[str] = []
    summary = app.import_burn(
        folder / "burn.csv",
        folder / "data",
        plan_file=folder / "plan.toml",
        stage=stages.append,
        now_ns=lambda: NOON_NS,
    )
    assert len(stages) == 4
    return folder, summary


def test_an_import_keeps_samples_events_summary_and_files(imported: tuple[Path, app.Summary]) -> None:
    folder, summary = imported
    store = StoreReader(folder / "data" / STORE_NAME)
    trial = store.trial(summary.trial.id)
    assert trial == summary.trial
    assert (trial.start_ns, trial.end_ns) == (NOON_NS, NOON_NS + 239 * 10**9)
    assert (trial.origin, trial.source, trial.relative, trial.label) == ("import", "burn.csv", True, "planned")
    assert sum(len(one) for one in store.trial_batches(trial)) == 480
    kept = store.summary(trial.id)
    assert kept is not None
    assert kept.document == summary.text == (summary.folder / "summary.json").read_text(encoding="utf-8")
    assert summary.page.read_text(encoding="utf-8").startswith("<!")
    assert [event.kind.value for event in store.events(trial.id)] == [one["kind"] for one in summary.document["events"]]


def test_the_summary_says_what_was_assumed_and_set_aside(imported: tuple[Path, app.Summary]) -> None:
    texts = " ".join(note["text"] for note in imported[1].document["quality"])
    assert "guessed" in texts
    assert "Times are relative" in texts
    assert "Columns not used: door" in texts
    assert "1 x row of text" in texts
    assert "Channel mass (assumed" in texts


def test_a_stored_summary_is_not_worked_out_again(
    imported: tuple[Path, app.Summary], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, summary = imported
    monkeypatch.setattr(app, "analysis_of", lambda *_, **__: pytest.fail("worked out again"))
    again = app.summary_of(folder / "data", "last")
    assert again.text == summary.text
    assert [trial.id for trial, _ in app.listed(folder / "data")] == [summary.trial.id]
    assert app.listed(folder / "data")[0][1] == summary.document


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


def test_exports(imported: tuple[Path, app.Summary], tmp_path: Path) -> None:
    folder, summary = imported
    assert app.export_trial(folder / "data", "last", tmp_path / "grid.csv", raw=False) == 240
    assert app.export_trial(folder / "data", summary.trial.id, tmp_path / "raw.csv", raw=True) == 240
    assert (tmp_path / "raw.csv").read_text().splitlines()[:2] == ["t_s,ambient_c,mass_g", "0,18.5,800"]
    with pytest.raises(ExportError):
        app.export_trial(folder / "data", "last", tmp_path / "raw.csv", raw=True)


def test_the_same_file_twice_makes_two_whole_trials(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    first, second = (
        app.import_burn(tmp_path / "burn.csv", tmp_path / "data", label=label, now_ns=lambda: NOON_NS)
        for label in ("one", "two")
    )
    assert (first.trial.id, second.trial.id) == ("2025-11-25-1", "2025-11-25-2")
    store = StoreReader(tmp_path / "data" / STORE_NAME)
    for summary in (first, second):
        assert sum(len(one) for one in store.trial_batches(summary.trial)) == 120
    assert first.document["results"] == second.document["results"]
    assert [one.document["label"] for one in (first, second)] == ["one", "two"]
    assert app.find_trial(store, "last") == second.trial


def test_a_bench_file_gives_the_channels_and_its_corrections_apply(tmp_path: Path) -> None:
    bench = bench_template().replace('id = "bench"', 'id = "yard"', 1)
    (tmp_path / "bench.toml").write_text(bench)
    (tmp_path / "burn.csv").write_text(burn(60))
    summary = app.import_burn(tmp_path / "burn.csv", tmp_path / "data", bench_file=tmp_path / "bench.toml")
    assert summary.document["bench"] == summary.trial.bench == "yard"
    texts = [note["text"] for note in summary.document["quality"]]
    assert not any("Channel mass (assumed" in text for text in texts)
    assert any("Channel ambient (assumed" in text for text in texts)
    assert app.channels_of(summary.trial)[Role.MASS].name == "mass"


def test_a_failed_import_leaves_no_trial_and_no_store(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text("nothing\n")
    (tmp_path / "good.csv").write_text(burn(60))
    (tmp_path / "plan.toml").write_text("[fuel]\nmas_g = 5\n")
    with pytest.raises(RecordingError):
        app.import_burn(tmp_path / "burn.csv", tmp_path / "data")
    with pytest.raises(ConfigError, match="mass_g"):
        app.import_burn(tmp_path / "good.csv", tmp_path / "data", plan_file=tmp_path / "plan.toml")
    with pytest.raises(ConfigError):
        app.import_burn(tmp_path / "good.csv", tmp_path / "data", bench_file=tmp_path / "none.toml")
    assert not (tmp_path / "data").exists()


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


def test_a_data_directory_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    with pytest.raises(OutputError, match="cannot make the folder"):
        app.import_burn(tmp_path / "burn.csv", tmp_path / "burn.csv" / "data")


def test_when_a_trial_began(imported: tuple[Path, app.Summary]) -> None:
    trial = imported[1].trial
    assert app.started(trial) is None
    dated = replace(trial, relative=False, zone="Europe/Vienna")
    assert app.started(dated) == "2025-11-25 13:00:00 (Europe/Vienna)"


def test_the_zone_comes_from_the_environment_or_the_system(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Europe/Vienna")
    assert app.local_zone() == "Europe/Vienna"
    monkeypatch.setenv("TZ", "nonsense")
    assert app.local_zone() != "nonsense"
    monkeypatch.delenv("TZ")
    assert app.local_zone()


def test_text_files_appear_whole(tmp_path: Path) -> None:
    app.write_text(tmp_path / "a.txt", "ä")
    assert os.listdir(tmp_path) == ["a.txt"]  # noqa: PTH208  names only
    with pytest.raises(OutputError, match="cannot write"):
        app.write_text(tmp_path / "no" / "a.txt", "x")
