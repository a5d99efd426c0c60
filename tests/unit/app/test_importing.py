from pathlib import Path
from typing import Any

import pytest

from emberline import app
from emberline.app import STORE_NAME, OutputError
from emberline.app.importing import Imported, Standing
from emberline.bench.bench_template import bench_template
from emberline.bench.channels import Role
from emberline.bench.plan_values import plan_values
from emberline.config import ConfigError
from emberline.links.errors import RecordingError
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from emberline.trials.corrections import Correction, EditPlan
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


def _import(tmp_path: Path, plan: str = "", **more: Any) -> Imported:
    return app.import_burn(tmp_path / "burn.csv", tmp_path / "data", plan_text=plan, now_ns=lambda: NOON_NS, **more)


def test_the_same_readings_stay_one_trial_whatever_the_file_is_called(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    first = _import(tmp_path)
    (tmp_path / "copy.csv").write_text(burn(60))
    stages: list[str] = []
    copy = app.import_burn(tmp_path / "copy.csv", tmp_path / "data", stage=stages.append)
    assert (copy.trial.id, copy.text) == (first.trial.id, first.text)
    assert [one.standing for one in (first, copy)] == [Standing.NEW, Standing.KNOWN]
    assert stages == ["reading the file"], "nothing was worked out again"
    assert len(StoreReader(tmp_path / "data" / STORE_NAME).trials()) == 1


def test_other_readings_under_the_same_name_are_another_trial(tmp_path: Path) -> None:
    for changed, number in ((burn(60), 1), (burn(60).replace("800.00", "800.01", 1), 2), (burn(61), 3)):
        (tmp_path / "burn.csv").write_text(changed)
        assert _import(tmp_path).trial.id == f"2025-11-25-{number}"
    store = StoreReader(tmp_path / "data" / STORE_NAME)
    assert [sum(len(one) for one in store.trial_batches(trial)) for trial in store.trials()] == [120, 120, 122]


def test_another_bench_file_makes_another_trial(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    (tmp_path / "bench.toml").write_text(bench_template())
    assert _import(tmp_path).trial.id != _import(tmp_path, bench_file=tmp_path / "bench.toml").trial.id


def test_a_known_trial_is_given_what_the_plan_says_anew(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    first = _import(tmp_path, 'label = "a"\n[fuel]\nmass_g = 200.0\nstarter_g = 3.0\n')
    again = _import(tmp_path, 'label = "b"\n[fuel]\nmass_g = 210.0\n')
    assert (again.trial.id, again.standing) == (first.trial.id, Standing.PLAN)
    assert plan_values(again.trial.plan_text) == {"label": "b", "fuel.mass_g": 210.0}
    (entry,) = again.document["corrections"]
    assert (entry["do"], entry["who"], entry["why"]) == ("plan", "import", "burn.csv was imported again")
    assert set(entry["values"]) == {"label", "fuel.mass_g", "fuel.starter_g"}
    assert _import(tmp_path, 'label = "b"\n[fuel]\nmass_g = 210.0\n').standing is Standing.KNOWN
    assert _import(tmp_path, label="c").document["label"] == "c"


def test_what_a_person_changed_meanwhile_stays(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    plan = "[fuel]\nmass_g = 200.0\n"
    first = _import(tmp_path, plan)
    change = EditPlan({"fuel.mass_g": (200.0, 205.0), "fuel.char_left_g": (None, 30.0)})
    with Store.open(tmp_path / "data" / STORE_NAME) as store:
        text = "[fuel]\nmass_g = 205.0\nchar_left_g = 30.0\n"
        store.add_correction(first.trial.id, Correction(1, NOON_NS, "Ana", "weighed again", change), text)
    assert _import(tmp_path, plan).standing is Standing.KNOWN
    again = _import(tmp_path, plan + "starter_g = 3.0\n")
    assert plan_values(again.trial.plan_text) == {
        "fuel.mass_g": 205.0,
        "fuel.char_left_g": 30.0,
        "fuel.starter_g": 3.0,
    }


def test_a_known_trial_is_found_while_a_daemon_holds_the_store(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    _import(tmp_path)
    with Store.open(tmp_path / "data" / STORE_NAME):
        assert _import(tmp_path).standing is Standing.KNOWN


def test_a_pack_is_known_to_the_store_that_made_it_and_to_the_one_that_has_it(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    first = _import(tmp_path)
    app.export_trial(tmp_path / "data", "last", tmp_path / "p.zip", raw=False)
    here = app.import_burn(tmp_path / "p.zip", tmp_path / "data")
    assert (here.trial.id, here.standing) == (first.trial.id, Standing.KNOWN)
    standings = [app.import_burn(tmp_path / "p.zip", tmp_path / "other").standing for _ in range(2)]
    assert standings == [Standing.NEW, Standing.KNOWN]


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
    with pytest.raises(RecordingError):
        app.import_burn(tmp_path / "burn.csv", tmp_path / "data")
    with pytest.raises(ConfigError):
        app.import_burn(tmp_path / "good.csv", tmp_path / "data", bench_file=tmp_path / "none.toml")
    assert not (tmp_path / "data").exists()


def test_a_data_directory_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "burn.csv").write_text(burn(60))
    with pytest.raises(OutputError, match="cannot make the folder"):
        app.import_burn(tmp_path / "burn.csv", tmp_path / "burn.csv" / "data")
