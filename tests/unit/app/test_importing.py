from pathlib import Path

import pytest

from emberline import app
from emberline.app import STORE_NAME, OutputError
from emberline.bench.bench_template import bench_template
from emberline.bench.channels import Role
from emberline.config import ConfigError
from emberline.links.errors import RecordingError
from emberline.store.reader import StoreReader
from unit.app.small_burn import NOON_NS, burn


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


def test_a_data_directory_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    with pytest.raises(OutputError, match="cannot make the folder"):
        app.import_burn(tmp_path / "burn.csv", tmp_path / "burn.csv" / "data")
