from pathlib import Path

import pytest

from emberline import app
from emberline.store.errors import ExportError, PackError
from unit.app.small_burn import NOON_NS


def test_exports(imported: tuple[Path, app.Summary], tmp_path: Path) -> None:
    folder, summary = imported
    assert app.export_trial(folder / "data", "last", tmp_path / "grid.csv", raw=False) == 240
    assert app.export_trial(folder / "data", summary.trial.id, tmp_path / "raw.csv", raw=True) == 240
    assert (tmp_path / "raw.csv").read_text().splitlines()[:2] == ["t_s,ambient_c,mass_g", "0,18.5,800"]
    with pytest.raises(ExportError):
        app.export_trial(folder / "data", "last", tmp_path / "raw.csv", raw=True)


def test_an_export_plays_no_live_run_through(
    imported: tuple[Path, app.Summary], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, _ = imported
    monkeypatch.setattr("emberline.trials.analysis.track", lambda *_: pytest.fail("the tracker ran"))
    assert app.export_trial(folder / "data", "last", tmp_path / "grid.csv", raw=False) == 240


def test_a_pack_recomputes_to_the_same_numbers_elsewhere(imported: tuple[Path, app.Summary], tmp_path: Path) -> None:
    folder, summary = imported
    assert app.export_trial(folder / "data", "last", tmp_path / "p.zip", raw=False) > 240
    again = app.import_burn(tmp_path / "p.zip", tmp_path / "data", now_ns=lambda: NOON_NS + 10**15)
    numbers = {key: value for key, value in summary.document.items() if key not in ("trial", "label")}
    assert {key: value for key, value in again.document.items() if key not in ("trial", "label")} == numbers


def test_a_pack_brings_its_own_plan(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="brings its own plan"):
        app.import_burn(tmp_path / "p.zip", tmp_path / "data", plan_text="[fuel]\nmass_g = 200.0\n")
