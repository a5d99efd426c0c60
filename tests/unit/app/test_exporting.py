from pathlib import Path

import pytest

from emberline import app
from emberline.store.errors import ExportError


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
