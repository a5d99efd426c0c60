"""Our figures of a burn, worked out again outside the program from what it exports.

`check_by_hand.py` has the equations of the Water Boiling Test 4.2.3 and of ISO 19867-1 written out, from memory of
both, and imports nothing of the program; it takes the scale's and the probe's columns, not the ledger's. A row a second
leaves up to a second in each time, which sets the bounds.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from emberline import app, lab
from lab_fixture import fill

WALK = Path(__file__).parents[2] / "host" / "docs" / "how-to" / "check_by_hand.py"
BOUNDS = {"burn_time": 1.0, "time_to_boil": 1.0, "char_left": 0.2, "water_evaporated": 0.6}
"""Largest difference: of times a second, of char what burns in that second, of water two steps of 0.3 g each."""
RELATIVE = 0.01
"""Largest relative difference of everything else: two seconds of the shortest burns' four hundred, and rounding."""


def test_the_exported_table_and_the_plan_give_the_figures_of_the_summary(tmp_path: Path) -> None:
    data = fill(tmp_path)
    trials = list(lab.open_store(data))
    assert len(trials) == 2
    for trial in trials:
        table = tmp_path / "exported.csv"
        app.export_trial(data, trial.id, table, raw=False, overwrite=True)
        plan = tmp_path / f"{trial.factors['fuel']}.toml"
        done = subprocess.run([sys.executable, WALK, table, plan], capture_output=True, text=True, check=True)
        by_hand = {name: float(value) for name, value in (line.split(",") for line in done.stdout.splitlines())}
        assert len(by_hand) == 12
        for name, value in by_hand.items():
            bound = BOUNDS.get(name, RELATIVE * abs(trial.value(name)))
            assert value == pytest.approx(trial.value(name), abs=bound), name


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("plans.csv", "file;fuel.mass_g\nburn.csv;128\n", "plans.csv is no plan in TOML: take the plan.toml out of"),
        (
            "plan.toml",
            "[fuel]\nmass_g = 128.0\n[pot]\nwater_g = 500.0\n",
            "fuel.starter_lhv_j_g, place.ambient_c, which",
        ),
    ],
)
def test_a_plan_that_cannot_be_used_ends_in_one_sentence(tmp_path: Path, name: str, text: str, said: str) -> None:
    (tmp_path / "burn.csv").write_text("t_s,water_c,mass_g,event\n0,20,900,lit\n")
    (tmp_path / name).write_text(text)
    done = subprocess.run(
        [sys.executable, WALK, "burn.csv", name], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert said in done.stderr
    assert done.stderr.count("\n") == 1


def test_it_imports_nothing_of_the_program() -> None:
    imports = [line for line in WALK.read_text().splitlines() if line.startswith(("import ", "from "))]
    assert imports == ["import csv", "import sys", "import tomllib", "from pathlib import Path", "import numpy as np"]
