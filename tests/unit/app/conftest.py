"""A small burn, imported once."""

from pathlib import Path

import pytest

from emberline import app
from unit.app.small_burn import NOON_NS, burn


@pytest.fixture(scope="session")
def imported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, app.Summary]:
    folder = tmp_path_factory.mktemp("app")
    (folder / "burn.csv").write_text(burn() + "power cut\n")
    (folder / "plan.toml").write_text('label = "planned"\n[fuel]\nmass_g = 200.0\n')
    stages: list[str] = []
    summary = app.import_burn(
        folder / "burn.csv",
        folder / "data",
        plan_text=(folder / "plan.toml").read_text(),
        stage=stages.append,
        now_ns=lambda: NOON_NS,
    )
    assert len(stages) == 4
    return folder, summary
