import builtins
import csv
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from burn_fixture import plan, usual
from emberline.bench.channels import Role, default_channel
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import grid_of
from emberline.heat.results import compute_results
from emberline.links.replay import read_recording
from emberline.store.curves import curves_of
from emberline.store.errors import ExportError
from emberline.store.export import by_second, column_name, every_sample, require_writable, write
from emberline.trials.analysis import Analysis
from unit.store.made_up import NOON_NS, batch

CHANNELS = {role: default_channel(role) for role in Role}


def analysis() -> Analysis:
    account, events, _, boiling_point = usual()
    t_s = account.t_s
    grid = grid_of(
        {Role.MASS: Curve(t_s, 900.0 - t_s / 7), Role.WATER: Curve(t_s[:100], 20.0 + t_s[:100] / 3)}, len(t_s)
    )
    results = compute_results(account, events, plan(), boiling_point)
    return Analysis("t", "b", plan(), grid, events, (), account, results, boiling_point, ())


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_row_a_second_with_channels_ledger_and_phase(tmp_path: Path) -> None:
    given = analysis()
    write(by_second(given), tmp_path / "burn.csv")
    got = rows(tmp_path / "burn.csv")
    assert list(got[0]) == [
        "t_s",
        "water_c",
        "mass_g",
        "fuel_g",
        "water_g",
        "burning_rate_g_min",
        "u_burning_rate_g_min",
        "firepower_w",
        "phase",
        "event",
    ]
    assert len(got) == given.grid.n
    assert float(got[300]["t_s"]) == given.account.t_s[300]
    assert float(got[300]["burning_rate_g_min"]) == pytest.approx(given.account.burning_rate_g_min[300], rel=1e-8)
    assert got[300]["phase"] == given.account.phase[300].value
    assert got[300]["water_c"] == ""  # the probe was silent by then
    assert "nan" not in (tmp_path / "burn.csv").read_text().lower()


def test_each_event_stands_in_the_second_in_which_it_lies_also_beside_another(tmp_path: Path) -> None:
    given = analysis()
    late = Event(EventKind.NOTE, 1e9, 0.0, "after the end")
    beside = Event(EventKind.STEP, given.events[2].t_s + 0.4, 0.5, "a lid")
    write(by_second(replace(given, events=(*given.events, beside, late))), tmp_path / "burn.csv")
    found = {row: cells["event"] for row, cells in enumerate(rows(tmp_path / "burn.csv")) if cells["event"]}
    assert found == {60: "lit", 120: "pot_on", 480: "boil step", 700: "pot_off", 960: "flameout"}


def mixed() -> list[SampleBatch]:
    rng = np.random.default_rng(5)
    water = SampleBatch(
        "d",
        0,
        "water",
        0,
        NOON_NS + np.sort(rng.integers(0, 10**11, 200)),
        rng.normal(50, 20, 200),
        np.where(rng.random(200) < 0.05, FLAG_FAULT, 0).astype(np.uint8),
    )
    twice = SampleBatch(
        "d", 0, "flame", 0, NOON_NS + np.array([0, 5, 5, 5, 9]) * 10**8, np.arange(5.0), np.zeros(5, dtype=np.uint8)
    )
    return [batch(0, 1000), water, twice]


def test_every_sample_reads_back_bit_for_bit(tmp_path: Path) -> None:
    batches = mixed()
    write(every_sample(batches, CHANNELS, NOON_NS), tmp_path / "raw.csv")
    recording = read_recording(tmp_path / "raw.csv", origin_ns=NOON_NS)
    expected = curves_of(batches, CHANNELS, NOON_NS)
    got = curves_of(recording.batches.values(), CHANNELS, NOON_NS)
    assert sum(map(len, recording.batches.values())) == sum(map(len, batches))
    assert got.keys() == expected.keys()
    for role, curve in expected.items():
        assert got[role].t_s.tobytes() == curve.t_s.tobytes()
        assert got[role].value.tobytes() == curve.value.tobytes()


def test_parquet_holds_the_same_as_csv(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="the extra emberline[parquet] is not installed")
    for name, columns in (("grid", by_second(analysis())), ("raw", every_sample(mixed(), CHANNELS, NOON_NS))):
        write(columns, tmp_path / f"{name}.parquet")
        write(columns, tmp_path / f"{name}.csv")
        table = parquet.read_table(tmp_path / f"{name}.parquet").to_pydict()
        written = rows(tmp_path / f"{name}.csv")
        assert list(table) == list(written[0])
        for column, values in table.items():
            for value, row in zip(values, written, strict=True):
                if value is None:
                    assert row[column] == ""
                elif isinstance(value, str):
                    assert value == row[column]
                elif math.isnan(value):
                    assert row[column] == "NaN"
                else:
                    assert float(row[column]) == pytest.approx(value, rel=1e-8)


def test_no_samples_give_a_header_only(tmp_path: Path) -> None:
    write(every_sample([], CHANNELS, 0), tmp_path / "raw.csv")
    assert (tmp_path / "raw.csv").read_text() == "t_s\n"


def test_names_of_columns() -> None:
    assert [column_name(role) for role in (Role.WATER, Role.MASS, Role.CO)] == ["water_c", "mass_g", "co_ppm"]


def test_a_file_is_refused_before_the_work_begins(tmp_path: Path) -> None:
    (tmp_path / "there.csv").touch()
    for target, told in (
        (tmp_path / "burn.xlsx", "ends in .csv"),
        (tmp_path / "there.csv", "--overwrite"),
        (tmp_path / "no" / "burn.csv", "no folder"),
    ):
        with pytest.raises(ExportError, match=told):
            require_writable(target, overwrite=False)
    require_writable(tmp_path / "there.csv", overwrite=True)
    require_writable(tmp_path / "new.CSV", overwrite=False)


def test_without_the_parquet_library_its_name_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *args: Any, **kwargs: Mapping[str, Any]) -> Any:
        if name.startswith("pyarrow"):
            raise ImportError(name)
        return real(name, *args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(ExportError, match=r"pip install 'emberline\[parquet\]'"):
        require_writable(tmp_path / "burn.parquet", overwrite=False)


def test_a_file_that_cannot_be_written_is_told_and_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(ExportError, match="cannot write"):
        write({"t_s": np.arange(3.0)}, tmp_path / "folder.csv")
    assert [path.name for path in tmp_path.iterdir()] == ["folder.csv"]
