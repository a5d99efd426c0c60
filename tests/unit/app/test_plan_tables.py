from pathlib import Path

import pytest

from emberline import app
from emberline.app.ordering import plan_series
from emberline.app.output import OutputError
from emberline.app.plan_tables import plan_to_arm, plans_of_series, stored_plans, write_plan_table
from emberline.bench.plan import parse_plan
from emberline.bench.plan_values import plan_values
from emberline.config import ConfigError, load_plan_table
from emberline.trials.comparison.stop_rule import StopRule


def test_stored_plans_come_back_from_their_table(imported: tuple[Path, app.Summary], tmp_path: Path) -> None:
    write_plan_table(tmp_path / "plans.csv", stored_plans(imported[0] / "data"))
    (row,) = load_plan_table(tmp_path / "plans.csv")
    assert row.file == "burn.csv"
    assert plan_values(row.text) == {"label": "planned", "fuel.mass_g": 200.0}


def test_an_existing_table_is_left_alone(tmp_path: Path) -> None:
    write_plan_table(tmp_path / "plans.csv", [])
    with pytest.raises(OutputError, match="left alone"):
        write_plan_table(tmp_path / "plans.csv", [])
    write_plan_table(tmp_path / "plans.csv", [], overwrite=True)
    with pytest.raises(OutputError, match=r"\.csv"):
        write_plan_table(tmp_path / "plans.xlsx", [])


def test_a_series_gives_a_row_for_each_run_and_the_next_one_is_armed(tmp_path: Path) -> None:
    rule = StopRule(burns=2)
    series = plan_series(tmp_path, "holes-1", {"holes": ["8", "12"]}, "burn_time", blocks=2, rule=rule, seed=3)
    table = tmp_path / "plans.csv"
    write_plan_table(table, plans_of_series(tmp_path, "holes-1"))
    plans = [parse_plan(one.text) for one in load_plan_table(table)]
    assert [(one.run, one.factors) for one in plans] == [(one.number, one.factors) for one in series.runs]
    chosen = parse_plan(plan_to_arm(table, tmp_path, row=None, series="holes-1"))
    assert (chosen.series, chosen.run) == ("holes-1", 1)
    assert parse_plan(plan_to_arm(table, tmp_path, row=5, series=None)).run == 3
    first = series.runs[0].factors["holes"]
    table.write_text(f"series,run,factors.holes\nholes-1,1,{'8' if first == '12' else '12'}\n")
    with pytest.raises(ConfigError, match=r"row 2, column factors\.holes"):
        plan_to_arm(table, tmp_path, row=None, series="holes-1")


def test_which_plan_is_meant_must_be_said(tmp_path: Path) -> None:
    table = tmp_path / "plans.csv"
    table.write_text("label\none\ntwo\n")
    (tmp_path / "plan.toml").write_text('label = "single"')
    with pytest.raises(ConfigError, match="holds 2 plans: say which with --row"):
        plan_to_arm(table, tmp_path, row=None, series=None)
    with pytest.raises(ConfigError, match="no plan in row 9: its plans are in rows 2 to 3"):
        plan_to_arm(table, tmp_path, row=9, series=None)
    with pytest.raises(ConfigError, match="is one plan"):
        plan_to_arm(tmp_path / "plan.toml", tmp_path, row=2, series=None)
    assert plan_to_arm(tmp_path / "plan.toml", tmp_path, row=None, series=None) == 'label = "single"'
