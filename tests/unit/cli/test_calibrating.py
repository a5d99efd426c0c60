"""What `emberline calibrate` refuses by itself, and its history; all of it is in tests/system/test_calibrating.py."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from emberline.app.stored import STORE_NAME
from emberline.bench.findings import CellCheck
from emberline.bench.mass_fit import KnownLoad, fit_mass
from emberline.cli import main
from emberline.store.store import Store
from unit.store.made_up import NOON_NS

MASS = fit_mass([KnownLoad(load, 0.03, 84_000.0 + 420.0 * load, 2.0) for load in (0.0, 1000.0, 500.0, 0.0)])


@pytest.fixture
def data(tmp_path: Path) -> Path:
    with Store.open(tmp_path / STORE_NAME, now_ns=lambda: NOON_NS) as store:
        store.add_finding("yard", "mass", MASS, "Ana")
        store.add_finding("yard", "mass", CellCheck(1000.0, 0.1, 999.6, 0.2, False), "")
        store.add_finding("yard", "mass", MASS, "Ben")
    return tmp_path


def test_a_store_without_calibrations_says_how_to_make_one(tmp_path: Path) -> None:
    with Store.open(tmp_path / STORE_NAME):
        pass
    told = CliRunner().invoke(main, ["calibrate", "history", "--data", str(tmp_path)])
    assert (told.exit_code, "emberline calibrate mass" in told.output) == (0, True)


def test_the_history_marks_what_holds(data: Path) -> None:
    told = CliRunner().invoke(main, ["calibrate", "history", "--data", str(data)])
    first, check, last = told.output.splitlines()
    assert first.startswith("    1  2025-11-25T")
    assert check.startswith("    2")
    assert last.startswith("*   3")
    assert last.endswith("by Ben")


@pytest.mark.parametrize(
    ("words", "code", "reason"),
    [
        (["mass", "--masses", "0,1000,500,0"], 6, "no daemon runs"),
        (["mass", "--masses", "0;1000"], 2, "write grams with commas between"),
        (["mass", "--masses", ",".join(["0", "500"] * 8)], 2, "at most 12 loads"),
        (["probe", "--bath", "steam"], 2, "'steam' is not one of"),
        (["probe", "--pressure-pa", "1013"], 2, "1013"),
        (["check"], 2, "Missing option '--mass'"),
        (["apply", "2025-01-01-1"], 3, "there is no trial"),
    ],
)
def test_what_cannot_be_done_is_told(data: Path, words: list[str], code: int, reason: str) -> None:
    told = CliRunner().invoke(main, ["calibrate", *words, "--data", str(data)])
    assert told.exit_code == code, told.output
    assert reason in told.output


def test_masses_are_asked_for_where_none_are_given(data: Path) -> None:
    told = CliRunner().invoke(main, ["calibrate", "mass", "--data", str(data)], input="1000\n500\n0.05\n")
    assert "Your largest known mass, g" in told.output
    assert "How far off may they be" in told.output
    assert "no daemon runs" in told.output
