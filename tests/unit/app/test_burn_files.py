from pathlib import Path

import pytest

from emberline.app.burn_files import BurnFile, burn_files
from emberline.bench.plan import parse_plan
from emberline.config import ConfigError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("b.csv", "a.csv", "c.TSV", "notes.pdf"):
        (tmp_path / name).touch()
    return tmp_path


def labels(found: list[BurnFile]) -> dict[str, str | None]:
    return {one.source.name: parse_plan(one.plan_text).label for one in found if one.problem is None}


def problems(found: list[BurnFile]) -> list[str]:
    return [str(one.problem) for one in found if one.problem is not None]


def test_a_folder_is_its_recordings_by_name(folder: Path) -> None:
    assert labels(burn_files([folder])) == {"a.csv": None, "b.csv": None, "c.TSV": None}


def test_a_plan_of_the_same_name_belongs_to_its_recording(folder: Path) -> None:
    (folder / "a.toml").write_text('label = "own"')
    assert labels(burn_files([folder / "a.csv", folder / "b.csv"])) == {"a.csv": "own", "b.csv": None}


def test_a_table_beside_the_recordings_is_found_and_is_no_recording(folder: Path) -> None:
    (folder / "plans.csv").write_text("file,label\na.csv,first\nold/b.csv,second\n")
    assert labels(burn_files([folder])) == {"a.csv": "first", "b.csv": "second", "c.TSV": None}
    assert labels(burn_files([folder / "b.csv"])) == {"b.csv": "second"}


def test_a_table_of_another_name_is_named(folder: Path) -> None:
    (folder / "november.csv").write_text("file,label\nc.TSV,third\n")
    assert labels(burn_files([folder], folder / "november.csv")) == {"a.csv": None, "b.csv": None, "c.TSV": "third"}


def test_a_recording_that_its_table_does_not_have_is_told(folder: Path) -> None:
    (folder / "november.csv").write_text("file,label\nc.TSV,third\n")
    told = problems(burn_files([folder / "a.csv", folder / "c.TSV"], folder / "november.csv"))
    assert ["has no row for a.csv" in one for one in told] == [True]


def test_a_recording_named_twice_is_one(folder: Path) -> None:
    assert len(burn_files([folder, folder / "a.csv"])) == 3


def test_one_plan_for_all(folder: Path) -> None:
    (folder / "all.toml").write_text('label = "all"')
    (folder / "a.toml").write_text('label = "own"')
    found = burn_files([folder], folder / "all.toml")
    assert labels(found) == {"a.csv": "all", "b.csv": "all", "c.TSV": "all"}


def test_a_bad_plan_stops_its_own_recording_alone(folder: Path) -> None:
    (folder / "a.toml").write_text("[fuel]\nmas_g = 3\n")
    found = burn_files([folder])
    assert labels(found) == {"b.csv": None, "c.TSV": None}
    assert "mass_g" in problems(found)[0]


def test_two_plans_for_one_recording_are_one_too_many(folder: Path) -> None:
    (folder / "a.toml").write_text('label = "own"')
    (folder / "plans.csv").write_text("file,label\na.csv,first\n")
    assert "a.toml and one in row 2" in problems(burn_files([folder]))[0]


def test_a_row_whose_recording_is_missing_is_told(folder: Path) -> None:
    (folder / "plans.csv").write_text("file,label\nd.csv,lost\n,planned only\n")
    found = burn_files([folder])
    assert ["row 2, column file: there is no d.csv" in one for one in problems(found)] == [True]
    assert problems(burn_files([folder / "a.csv"])) == [], "who names one file knows what is left out"


def test_what_stops_everything(folder: Path, tmp_path: Path) -> None:
    (folder / "plans.csv").write_text("file,fuel.moisture_wet\na.csv,11\n")
    with pytest.raises(ConfigError, match=r"row 2, column fuel\.moisture_wet: .*percentage"):
        burn_files([folder])
    (tmp_path / "empty").mkdir()
    with pytest.raises(ConfigError, match="holds no recording"):
        burn_files([tmp_path / "empty"])
    with pytest.raises(ConfigError, match="no such table of plans"):
        burn_files([folder], folder / "none.csv")
