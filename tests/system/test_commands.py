"""The installed command, as a person or a script runs it."""

import csv
import json
import subprocess
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from daemon_fixture import EMBERLINE
from emberline_sim.files import write_csv, write_plan
from emberline_sim.recording import record
from emberline_sim.scenario import load_scenario


def run(folder: Path, *arguments: str, expect: int = 0) -> subprocess.CompletedProcess[str]:
    done = subprocess.run([EMBERLINE, *arguments], cwd=folder, capture_output=True, text=True, timeout=55, check=False)
    assert done.returncode == expect, done.stderr
    assert "Traceback" not in done.stderr
    assert "Warning" not in done.stderr
    return done


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("commands")
    recording = record(load_scenario("water_only"))
    write_csv(recording, place / "burn.csv")
    write_plan(recording, place / "plan.toml")
    run(place, "import", "burn.csv", "--plan", "plan.toml", "--column", "t_s=time_s", "--column", "water=water_c")
    return place


def test_a_burn_from_file_to_summary(folder: Path) -> None:
    schema = json.loads((files("emberline.trials") / "summary.schema.json").read_text(encoding="utf-8"))
    done = run(folder, "import", "burn.csv", "--plan", "plan.toml", "--json", "-", "--data", "other")
    document = json.loads(done.stdout)
    jsonschema.validate(document, schema)
    assert "boil" in [event["kind"] for event in document["events"]]
    assert "guessed" in done.stderr
    assert json.loads(run(folder, "summary", "last", "--json", "--data", "other").stdout) == document


def test_the_summary_in_every_form(folder: Path) -> None:
    text = run(folder, "summary", "last").stdout
    assert "boil" in text
    assert "Caution" in text
    assert run(folder, "summary", "last", "--html").stdout.lstrip().startswith("<!")
    listed = run(folder, "trials").stdout
    trial = listed.splitlines()[1].split()[0]
    assert run(folder, "summary", trial).stdout == text
    document = json.loads(run(folder, "summary", trial, "--json").stdout)
    assert document["trial"] == trial
    assert document == json.loads((folder / "emberline-data" / "trials" / trial / "summary.json").read_text())


def test_json_into_a_file(folder: Path) -> None:
    done = run(folder, "import", "burn.csv", "--json", "out.json", "--data", "third", "--label", "try")
    assert "Trial" in done.stdout
    assert json.loads((folder / "out.json").read_text())["label"] == "try"
    run(folder, "import", "burn.csv", "--json", "no/out.json", "--data", "third", expect=5)


def test_export(folder: Path) -> None:
    run(folder, "export", "last", "--to", "burn-1hz.csv")
    with (folder / "burn-1hz.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {"t_s", "water_c", "fuel_g", "phase"} <= set(rows[0])
    run(folder, "export", "last", "--to", "burn-1hz.csv", expect=5)
    run(folder, "export", "last", "--to", "burn-1hz.csv", "--raw", "--overwrite")
    run(folder, "export", "last", "--to", "burn.xlsx", expect=5)


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["import", "none.csv"], 2, "cannot read"),
        (["import", "burn.csv", "--plan", "none.toml"], 2, "no such plan"),
        (["import", "burn.csv", "--plan", "burn.csv"], 2, "burn.csv"),
        (["import", "burn.csv", "--column", "t_s=time", "--column", "water=water_c"], 2, "Did you mean 'time_s'"),
        (["import", "burn.csv", "--column", "water"], 2, "KEY=NAME"),
        (["import", "plan.toml"], 2, "plan.toml"),
        (["summary", "1999-01-01-1"], 3, "emberline trials"),
        (["summary", "last", "--data", "nowhere"], 3, "import a burn first"),
        (["export", "last"], 2, "--to"),
        (["summary", "last", "--data", "burn.csv"], 2, "is a file"),
        (["check", "burn.csv"], 2, "burn.csv"),
        (["burn"], 2, "No such command"),
    ],
)
def test_mistakes_are_told_with_their_exit_code(folder: Path, arguments: list[str], code: int, told: str) -> None:
    done = run(folder, *arguments, expect=code)
    assert told in done.stderr
    assert done.stdout == ""


def test_a_damaged_store_is_told(folder: Path) -> None:
    (folder / "broken").mkdir()
    (folder / "broken" / "emberline.sqlite3").write_text("once a store, now a poem\n" * 200)
    for arguments in (["trials"], ["import", "burn.csv"], ["summary", "last"]):
        done = run(folder, *arguments, "--data", "broken", expect=4)
        assert "damaged" in done.stderr
