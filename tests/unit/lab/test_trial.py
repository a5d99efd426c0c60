import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import stored_burn
from emberline import app, lab
from emberline.app.live import live_summary
from emberline.bench.bench_template import bench_template
from emberline.config import ConfigError
from emberline.curves.events import Event, EventKind
from emberline.store.store import Store
from emberline.trials.corrections import Change, Correction, MoveEvent, Target, Undo
from stored_burn import BENCH, START_NS, plan, recording


@pytest.fixture
def trial(data: Path) -> lab.Trial:
    return next(iter(lab.open_store(data)))


def test_what_is_known_of_it(trial: lab.Trial) -> None:
    assert (trial.bench, trial.label, trial.running, trial.excluded) == ("bench", "beech, first burn", False, None)
    assert trial.factors == {"fuel": "beech"}
    assert trial.plan["fuel.moisture_wet"] == 0.10
    assert trial.plan_text.startswith("format = 1")
    assert trial.bench_text == ""
    assert np.isnat(trial.started)
    assert repr(trial) == f"<Trial {trial.id} 'beech, first burn'>"


def test_events_are_a_table(trial: lab.Trial) -> None:
    events = pd.DataFrame(trial.events)
    assert list(events["kind"]) == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    assert events["t_s"].is_monotonic_increasing
    assert (events["u_s"] > 0.0).all()
    assert events["size_g"].notna().tolist() == [False, True, False, True, False]


def test_curves_are_those_of_an_export(trial: lab.Trial, data: Path, tmp_path: Path) -> None:
    app.export_trial(data, trial.id, tmp_path / "burn.csv", raw=False)
    exported, curves = pd.read_csv(tmp_path / "burn.csv"), pd.DataFrame(trial.curves())
    assert list(curves.columns) == list(exported.columns)
    for name in exported.select_dtypes("number"):
        np.testing.assert_allclose(curves[name].to_numpy(), exported[name], rtol=1e-8, err_msg=name)
    assert list(curves["phase"]) == list(exported["phase"])


def test_samples_are_calibrated_and_a_channel_that_is_not_there_has_none(trial: lab.Trial) -> None:
    mass = trial.samples("mass")
    assert len(mass["t_s"]) == len(mass["mass_g"]) > 5_000
    assert np.nanmax(mass["mass_g"]) > np.nanmax(trial.curves()["fuel_g"])
    assert len(trial.samples("pressure")["pressure_pa"]) == 0
    with pytest.raises(ValueError, match="weight"):
        trial.samples("weight")


def test_recomputed_with_nothing_changed_it_is_what_is_stored(data: Path) -> None:
    for trial in lab.open_store(data):
        again = trial.recompute()
        assert again is not trial
        assert json.dumps(again.summary) == json.dumps(trial.summary)


def test_so_it_is_of_a_live_trial_of_a_corrected_one_and_of_a_pack(data: Path, tmp_path: Path) -> None:
    burn, folder = recording(str(data.parent)), tmp_path / "data"
    folder.mkdir()
    with Store.open(folder / app.STORE_NAME) as store:
        live = store.create_trial(bench=BENCH, start_ns=START_NS, plan_text=plan(burn)).id
        stored_burn.fill(store, burn)
        store.end_trial(live, START_NS + int(burn.scenario.duration_s) * 10**9)
        boil = Event(EventKind.BOIL, 200.0, 2.0, "found", announced_t_s=215.0)
        store.save_events(live, [boil])
        keep(store, folder, live)
        app.export_trial(folder, live, tmp_path / "live.zip", raw=False)
    moved = app.import_burn(
        data.parent / "beech.csv", folder, plan_text=(data.parent / "beech.toml").read_text()
    ).trial.id
    packed = app.import_burn(tmp_path / "live.zip", tmp_path / "elsewhere").trial.id
    with Store.open(folder / app.STORE_NAME) as store:
        found = next(event for event in store.events(moved) if event.kind is EventKind.FLAMEOUT)
        change = MoveEvent(Target(EventKind.FLAMEOUT, found.t_s), found.t_s - 4.0, 1.0)
        store.add_correction(moved, Correction(1, START_NS, "Ana", "saw it", change))
        keep(store, folder, moved)
    for place, name in ((folder, live), (folder, moved), (tmp_path / "elsewhere", packed)):
        trial = lab.open_store(place).trial(name)
        assert trial.summary["events"]
        assert json.dumps(trial.recompute().summary) == json.dumps(trial.summary)


def test_an_event_that_was_moved_and_put_back_keeps_its_announcement(data: Path, tmp_path: Path) -> None:
    burn, folder = recording(str(data.parent)), tmp_path / "data"
    folder.mkdir()
    said: list[list[float | None]] = []
    with Store.open(folder / app.STORE_NAME) as store:
        live = store.create_trial(bench=BENCH, start_ns=START_NS, plan_text=plan(burn)).id
        stored_burn.fill(store, burn)
        store.end_trial(live, START_NS + int(burn.scenario.duration_s) * 10**9)
        keep(store, folder, live)
        found = next(event for event in store.events(live) if event.kind is EventKind.FLAMEOUT)
        store.save_events(live, [found.announced(found.t_s + 40.0)])
        move = MoveEvent(Target(EventKind.FLAMEOUT, found.t_s), found.t_s - 30.0, 2.0)
        changes: tuple[Change, ...] = (move, Undo(1))
        for number, change in enumerate(changes, start=1):
            store.add_correction(live, Correction(number, START_NS, "Ana", "saw it", change))
            keep(store, folder, live)
            outs = [event for event in store.events(live) if event.kind is EventKind.FLAMEOUT]
            said.append([event.announced_t_s for event in outs])
            assert [event.by_person for event in outs] == [number == 1]
    assert said == [[found.t_s + 40.0]] * 2


def keep(store: Store, folder: Path, trial: str) -> None:
    """Work a trial's summary out and keep it, as a daemon does."""
    done = live_summary(folder, trial, provisional=False)
    store.save_events(trial, done.events, done.retracted)
    store.save_summary(trial, done.document, done.version, done.listing)


def test_other_plan_values_change_what_rests_on_them_and_nothing_stored(
    trial: lab.Trial, data: Path, tmp_path: Path
) -> None:
    before = json.dumps(trial.summary)
    richer = trial.recompute(plan={"fuel.lhv_dry_j_g": 19_400.0, "label": "if it were richer"})
    assert richer.label == "if it were richer"
    assert richer.value("thermal_efficiency") < trial.value("thermal_efficiency")
    assert richer.value("burn_time") == trial.value("burn_time")
    app.import_burn(data.parent / "beech.csv", tmp_path / "data", plan_text=(data.parent / "pine.toml").read_text())
    said_so = lab.open_store(tmp_path / "data").trial("last")
    assert richer.summary["results"] == said_so.summary["results"], "as if its plan had said so from the start"
    assert json.dumps(lab.open_store(data).trial(trial.id).summary) == before


def test_changes_add_up(trial: lab.Trial) -> None:
    both = trial.recompute(plan={"fuel.moisture_wet": 0.2}).recompute(plan={"fuel.starter_g": 3.0})
    assert (both.plan["fuel.moisture_wet"], both.plan["fuel.starter_g"]) == (0.2, 3.0)
    assert both.recompute(plan={"fuel.moisture_wet": 0.1, "fuel.starter_g": 2.0}).summary == trial.summary


def test_another_bench_file_is_another_calibration(trial: lab.Trial, tmp_path: Path) -> None:
    bench = bench_template() + "\n"
    (tmp_path / "bench.toml").write_text(bench)
    by_text, by_file = trial.recompute(bench=bench), trial.recompute(bench=tmp_path / "bench.toml")
    assert by_text.summary == by_file.summary
    assert by_text.bench_text == bench
    assert by_text.summary != trial.summary


def test_mistakes_are_told(trial: lab.Trial, tmp_path: Path) -> None:
    with pytest.raises(lab.PlanError, match=r"moisture_wet"):
        trial.recompute(plan={"fuel.moisture_wet": 11.0, "fuel.mas_g": 5.0})
    with pytest.raises(lab.BenchFileError, match="role"):
        trial.recompute(bench='[[channel]]\nrole = "weight"\n')
    with pytest.raises(ConfigError, match="no such bench file"):
        trial.recompute(bench=tmp_path / "none.toml")
    with pytest.raises(KeyError):
        trial.value("time_to_tea")


def test_what_is_absent_says_why(trial: lab.Trial) -> None:
    assert np.isnan(trial.value("turndown"))
    assert trial.why_absent("turndown")
    assert trial.why_absent("burn_time") == ""


def test_figures_can_be_saved(trial: lab.Trial, data: Path, tmp_path: Path) -> None:
    trial.figure(narrow=True).savefig(tmp_path / "burn.svg")
    lab.overlay({one.factors["fuel"]: [one] for one in lab.open_store(data)}).savefig(tmp_path / "both.svg")
    lab.open_store(data).compare(["fuel"]).figure().savefig(tmp_path / "compared.svg")
    for name in ("burn", "both", "compared"):
        assert "<svg" in (tmp_path / f"{name}.svg").read_text()
    with pytest.raises(ValueError, match="0 groups"):
        lab.overlay({})
