"""The command `compare`, on trials imported from simulated burns."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from compared_fixture import fill
from emberline.app import STORE_NAME
from emberline.cli import main
from emberline.store.reader import StoreReader
from emberline.store.store import Store


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A store with a short series of burns."""
    folder = tmp_path / "data"
    folder.mkdir()
    with Store.open(folder / STORE_NAME) as store:
        fill(store)
    return folder


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["compare", *arguments])


def test_trials_are_grouped_by_a_factor_and_compared(data: Path) -> None:
    said = run("--by", "holes", "--data", str(data))
    assert said.exit_code == 0, said.output
    assert "holes 12 boils 42 s sooner than holes 8 (95 % interval " in said.output
    assert "No difference in thermal efficiency is shown between holes 8 and holes 12" in said.output
    assert "Left out: trial" in said.output
    assert "rain" in said.output


def test_the_document_goes_to_a_file_or_to_the_screen_alone(data: Path, tmp_path: Path) -> None:
    alone = run("--by", "holes", "--result", "time_to_boil", "--json", "-", "--data", str(data))
    found = json.loads(alone.output)
    assert found["by"] == ["holes"]
    assert list(found["results"]) == ["time_to_boil"]
    target = tmp_path / "c.json"
    assert run("--by", "holes", "--result", "time_to_boil", "--json", str(target), "--data", str(data)).exit_code == 0
    assert json.loads(target.read_text()) == found


def test_groups_can_be_chosen_by_hand(data: Path) -> None:
    ids = [trial.id for trial in StoreReader(data / STORE_NAME).trials()]
    groups = [f"early={ids[0]},{ids[1]},{ids[2]}", f"late={ids[3]},{ids[4]},{ids[5]}"]
    said = run("--group", groups[0], "--group", groups[1], "--data", str(data))
    assert said.exit_code == 0, said.output
    assert "All burns of early came before all of late" in " ".join(said.output.split())


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ([], "one of --by FACTOR"),
        (["--by", "holes", "--group", "a=1"], "one of --by FACTOR"),
        (["--by", "lid"], "the factors are: holes"),
        (["--by", "holes", "--where", "holes"], "FACTOR=LEVEL"),
        (["--by", "holes", "--where", "holes=99"], "no trial takes part"),
        (["--by", "holes", "--result", "speed"], "there is no result 'speed'"),
        (["--by", "holes", "--wish", "5"], "exactly one --result"),
        (["--group", "a=1", "--group", "a=2"], "given twice"),
    ],
)
def test_what_cannot_be_compared_is_refused_in_words(data: Path, options: list[str], why: str) -> None:
    said = run(*options, "--data", str(data))
    assert said.exit_code == 2
    assert why in " ".join(said.output.split())


def test_a_trial_that_there_is_not_ends_with_3(data: Path) -> None:
    said = run("--group", "a=2020-01-01-1", "--data", str(data))
    assert said.exit_code == 3
    assert "no trial '2020-01-01-1'" in said.output


def test_a_comparison_is_drawn_as_a_picture(data: Path, tmp_path: Path) -> None:
    target = tmp_path / "c.svg"
    said = run("--by", "holes", "--card", str(target), "--title", "More holes", "--square", "--data", str(data))
    assert said.exit_code == 0, said.output
    assert target.read_text().startswith("<?xml")
    assert run("--by", "holes", "--card", str(target), "--data", str(data)).exit_code == 5
