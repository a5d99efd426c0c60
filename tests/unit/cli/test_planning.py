"""The command `plans`, and `check` and `arm` on what it writes."""

from pathlib import Path

from click.testing import CliRunner, Result

from emberline.cli import main


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, arguments)


def test_an_empty_table_is_written_filled_in_and_checked(tmp_path: Path) -> None:
    table = tmp_path / "plans.csv"
    assert run("plans", "--to", str(table)).output == f"Wrote {table}: fill it in, then: emberline check {table}\n"
    assert "write a row for each burn" in run("check", str(table)).output
    head = table.read_text(encoding="utf-8-sig").splitlines()[0]
    table.write_text(table.read_text(encoding="utf-8") + "a.csv" + "," * head.count(",") + "\n", encoding="utf-8")
    assert run("check", str(table)).output == f"{table}: the table is in order; plans: 1\n"


def test_runs_of_a_series_become_rows(tmp_path: Path) -> None:
    data, table = str(tmp_path / "data"), tmp_path / "plans.csv"
    run("order", "holes-1", "--factor", "holes=8,12", "--blocks", "2", "--seed", "7", "--data", data)
    done = run("plans", "--series", "holes-1", "--to", str(table), "--data", data)
    assert f"Wrote {table} with 4 plans" in done.output
    assert run("plans", "--series", "x", "--stored", "--to", str(table), "--data", data).exit_code == 2


def test_arming_says_which_plans_there_are(tmp_path: Path) -> None:
    table = tmp_path / "plans.csv"
    table.write_text("label\none\ntwo\n")
    done = run("arm", "--plan", str(table), "--data", str(tmp_path))
    assert done.exit_code == 2
    assert "--row" in done.output
    done = run("arm", "--plan", str(table), "--row", "2", "--data", str(tmp_path))
    assert done.exit_code == 6, "the plan is found, and nobody records"
    assert run("arm", "--row", "2", "--data", str(tmp_path)).exit_code == 2
