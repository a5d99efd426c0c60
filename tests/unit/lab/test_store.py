import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from emberline import lab
from emberline.app.archiving import archiving
from emberline.heat.results import RESULT_NAMES
from emberline.lab.store import units
from emberline.store.reader import StoreReader
from emberline.store.store import Store


def test_results_are_a_table_that_pandas_takes(data: Path) -> None:
    store = lab.open_store(data)
    table = store.results()
    assert {len(column) for column in table.values()} == {2}
    frame = pd.DataFrame(table)
    assert list(frame["factors.fuel"]) == ["beech", "pine"]
    assert list(frame["label"]) == ["beech, first burn", "pine, first burn"]
    assert list(frame["excluded"]) == ["", ""]
    assert frame["started"].isna().all()
    assert {*RESULT_NAMES, *(f"u_{name}" for name in RESULT_NAMES)} <= set(frame.columns)
    for trial, row in zip(store, frame.to_dict("records"), strict=True):
        for name in RESULT_NAMES:
            kept = trial.summary["results"].get(name)
            if kept is None:
                assert np.isnan(row[name])
                assert np.isnan(row[f"u_{name}"])
            else:
                assert (row[name], row[f"u_{name}"]) == (kept["value"], kept["u"])
                assert kept["unit"] == units()[name]


def test_trials_are_found_by_their_ids(data: Path) -> None:
    store = lab.open_store(str(data))
    first, last = store
    assert store.trial(first.id).id == first.id
    assert store.trial("last").id == last.id
    with pytest.raises(lab.UnknownTrialError, match="emberline trials"):
        store.trial("1999-01-01-1")


def test_a_backup_and_an_archive_are_read_like_the_store(data: Path, tmp_path: Path) -> None:
    StoreReader(data / "emberline.sqlite3").backup(tmp_path / "copy.sqlite3")
    assert archiving(data, str(tmp_path / "archive")).run() == 2
    expected = pd.DataFrame(lab.open_store(data).results())
    for store in (lab.open_store(tmp_path / "copy.sqlite3"), lab.open_archive(str(tmp_path / "archive"))):
        pd.testing.assert_frame_equal(pd.DataFrame(store.results()), expected)


def test_the_usual_folder_is_that_of_the_commands(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EMBERLINE_DATA", str(data))
    assert len(list(lab.open_store())) == 2


def test_no_store_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(lab.StoreMissingError, match="import a burn first"):
        lab.open_store(tmp_path)


def test_a_store_is_read_while_somebody_writes_and_new_trials_appear(data: Path, tmp_path: Path) -> None:
    shutil.copytree(data, tmp_path / "data")
    store = lab.open_store(tmp_path / "data")
    with Store.open(tmp_path / "data" / "emberline.sqlite3") as writer:
        assert len(list(store)) == 2
        running = writer.create_trial(bench="yard", start_ns=1_764_072_000 * 10**9)
        assert [trial.running for trial in store] == [False, False, True]
        assert store.trial("last").id == running.id
        assert len(store.results()["trial"]) == 2, "a trial that runs has no results yet"


def test_groups_are_compared_by_factor_or_by_hand(data: Path) -> None:
    store = lab.open_store(data)
    by_factor = store.compare(["fuel"], results=["thermal_efficiency"]).document
    assert list(by_factor["groups"]) == ["fuel beech", "fuel pine"]
    first, last = store
    by_hand = store.compare(groups={"a": [first.id], "b": [last.id]}, results=["thermal_efficiency"]).document
    means = [one["mean"] for one in by_hand["results"]["thermal_efficiency"]["groups"].values()]
    assert means == [trial.value("thermal_efficiency") for trial in store]
    with pytest.raises(lab.ComparisonError, match="fuel"):
        store.compare(["holes"])


def test_importing_it_loads_no_plots_and_no_detectors() -> None:
    code = "import sys; from emberline import lab; print(*sorted({one.partition('.')[0] for one in sys.modules}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"matplotlib", "scipy", "pandas", "click", "starlette"} & set(loaded)
