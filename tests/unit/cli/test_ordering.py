"""The command `order`, and what becomes of its runs."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from emberline.app import STORE_NAME
from emberline.bench.plan import parse_plan
from emberline.cli import main
from emberline.service.series_standing import plan_for_next, standing_of
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.corrections import Correction, Exclude


def run(data: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["order", *arguments, "--data", str(data)])


def burn(data: Path, plan_text: str, excluded: str | None = None) -> None:
    with Store.open(data / STORE_NAME) as store:
        trial = store.create_trial(bench="yard", start_ns=10**18, plan_text=plan_text)
        store.end_trial(trial.id, trial.start_ns + 10**12)
        if excluded is not None:
            store.add_correction(trial.id, Correction(1, trial.end_ns or 0, "me", excluded, Exclude()))


def test_a_series_is_planned_shown_and_listed(tmp_path: Path) -> None:
    planned = run(tmp_path, "holes-1", "--factor", "holes=8,12", "--blocks", "3", "--seed", "7")
    assert planned.exit_code == 0, planned.output
    assert "It ends after 3 burns of each condition." in planned.output
    rows = re.findall(r"^(\d)\s+(\d)\s+(8|12)", planned.output, re.MULTILINE)
    assert [row[0] for row in rows] == [str(n) for n in range(1, 7)]
    assert all({row[2] for row in rows if row[1] == block} == {"8", "12"} for block in "123")
    assert f": emberline arm --series holes-1 --data {tmp_path}\n" in planned.output
    assert "carbon monoxide" in planned.output.lower()
    assert run(tmp_path, "holes-1").output == planned.output
    assert run(tmp_path).output == "holes-1: 0 of 6 runs, by holes\n"


def test_the_number_of_burns_follows_from_the_difference_to_be_shown(tmp_path: Path) -> None:
    """Of a scatter of 12 s, 30 s are 2.5 of it: 4 burns of each (statsmodels' `TTestIndPower`, power 0.8)."""
    said = run(tmp_path, "a", "--factor", "holes=8,12", "--show", "30", "--scatter", "12")
    assert "4 burns of each show a difference of 30 in 80 of 100 such series" in said.output


def test_runs_are_taken_up_in_order_and_an_excluded_one_again(tmp_path: Path) -> None:
    run(tmp_path, "holes-1", "--factor", "holes=8,12", "--blocks", "2", "--seed", "7")
    text, first = plan_for_next(StoreReader(tmp_path / STORE_NAME), "holes-1", "[pot]\ntare_g = 400\n")
    plan = parse_plan(text)
    assert (plan.series, plan.run, plan.factors) == ("holes-1", 1, dict(first.factors))
    assert plan.pot is not None
    burn(tmp_path, text)
    text, second = plan_for_next(StoreReader(tmp_path / STORE_NAME), "holes-1", "")
    assert second.number == 2
    burn(tmp_path, text, excluded="the lid fell into the fire")
    assert plan_for_next(StoreReader(tmp_path / STORE_NAME), "holes-1", "")[1].number == 2
    assert "(excluded: once more)" in run(tmp_path, "holes-1").output
    burn(tmp_path, text)
    for _ in range(2):
        burn(tmp_path, plan_for_next(StoreReader(tmp_path / STORE_NAME), "holes-1", "")[0])
    assert standing_of(StoreReader(tmp_path / STORE_NAME), "holes-1").next is None
    with pytest.raises(ComparisonError, match="all runs of the series holes-1 are made"):
        plan_for_next(StoreReader(tmp_path / STORE_NAME), "holes-1", "")


@pytest.mark.parametrize(
    ("options", "code", "why"),
    [
        (["x"], 3, "there is no store"),
        (["x", "--blocks", "3"], 2, "--factor holes=8,12"),
        (["x", "--factor", "holes"], 2, "FACTOR=LEVEL"),
        (["x", "--factor", "holes=8", "--blocks", "3"], 2, "two levels"),
        (["x", "--factor", "holes=8,12"], 2, "--blocks"),
        (["x", "--factor", "holes=8,12", "--show", "30"], 2, "give --scatter"),
        (["x", "--factor", "holes=8,12", "--blocks", "3", "--result", "speed"], 2, "no result 'speed'"),
        (["a b", "--factor", "holes=8,12", "--blocks", "3"], 2, "no name for a series"),
    ],
)
def test_what_is_no_series_is_refused_in_words(tmp_path: Path, options: list[str], code: int, why: str) -> None:
    said = run(tmp_path, *options)
    assert said.exit_code == code, said.output
    assert why in " ".join(said.output.split())


def test_a_planned_series_stands(tmp_path: Path) -> None:
    run(tmp_path, "a", "--factor", "holes=8,12", "--blocks", "3")
    again = run(tmp_path, "a", "--factor", "holes=8,12", "--blocks", "9")
    assert again.exit_code == 2
    assert "planned already" in again.output


def test_a_guided_burn_may_be_the_next_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    guided: list[tuple[Path, str | None, str | None]] = []
    monkeypatch.setattr("emberline.cli.guided.guide", lambda *asked: guided.append(asked))
    run(tmp_path, "holes-1", "--factor", "holes=8,12", "--blocks", "2", "--seed", "7")
    arm = ["arm", "--guided", "--series", "holes-1", "--data", str(tmp_path)]
    done = CliRunner().invoke(main, arm)
    assert done.exit_code == 0, done.output
    assert re.fullmatch(r"Run 1 of holes-1: holes (8|12)\n", done.output)
    assert guided == [(tmp_path, None, "holes-1")]
    assert CliRunner().invoke(main, [*arm, "--label", "mine"]).exit_code == 2
