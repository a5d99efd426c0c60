"""Whole burns through file, store, analysis and back."""

import csv
import json
import random
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from emberline import app
from emberline.bench.channels import Role, default_channel
from emberline.links.replay import read_recording
from emberline.store.curves import curves_of
from emberline.store.reader import StoreReader
from emberline_sim.files import write_csv, write_plan
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import load_scenario


@dataclass(frozen=True)
class Case:
    """A simulated burn, its files, and what became of it."""

    recording: Recording
    folder: Path
    summary: app.Summary

    @property
    def data(self) -> Path:
        return self.folder / "data"

    def found(self, kind: str) -> list[dict[str, Any]]:
        return [event for event in self.summary.document["events"] if event["kind"] == kind]

    def true(self, kind: str) -> list[float]:
        return [event.t_s for event in self.recording.truth.events if event.kind == kind]


@pytest.fixture(scope="module")
def sticks(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("sticks")
    recording = record(load_scenario("light_sticks"))
    write_csv(recording, folder / "burn.csv")
    write_plan(recording, folder / "plan.toml")
    summary = app.import_burn(folder / "burn.csv", folder / "data", plan_text=(folder / "plan.toml").read_text())
    return Case(recording, folder, summary)


def test_the_document_keeps_to_its_schema(sticks: Case) -> None:
    schema = json.loads((files("emberline.trials") / "summary.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(json.loads(sticks.summary.text), schema)


def test_boil_and_flameout_are_where_they_truly_were(sticks: Case) -> None:
    for kind, within_s in (("boil", 5.0), ("flameout", 20.0)):
        found = sticks.found(kind)
        assert len(found) == len(sticks.true(kind)) == 1
        assert abs(found[0]["t_s"] - sticks.true(kind)[0]) < within_s
        assert found[0]["announced_t_s"] is not None


def test_every_sample_of_the_file_is_in_the_store(sticks: Case) -> None:
    store = StoreReader(sticks.data / app.STORE_NAME)
    kept = {one.channel: len(one) for one in store.trial_batches(sticks.summary.trial)}
    assert kept == {name: len(channel.t_s) for name, channel in sticks.recording.channels.items()}


def test_an_import_of_the_exported_samples_gives_the_same_trial(sticks: Case, tmp_path: Path) -> None:
    app.export_trial(sticks.data, "last", tmp_path / "raw.csv", raw=True)
    plan_text = (sticks.folder / "plan.toml").read_text()
    again = app.import_burn(tmp_path / "raw.csv", tmp_path / "data", plan_text=plan_text)
    for part in ("events", "retracted", "results", "visits", "absent"):
        assert again.document[part] == sticks.summary.document[part]


def variant(rows: list[list[str]], name: str, path: Path) -> None:
    """Write a table as other programs and other countries would."""
    rng = random.Random(17)
    header, body = rows[0], [list(row) for row in rows[1:]]
    separator, encoding, lines = ",", "utf-8", [",".join(header)]
    match name:
        case "semicolons and decimal commas":
            separator, encoding = ";", "utf-8-sig"
            body = [[cell.replace(".", ",") for cell in row] for row in body]
            lines = [";".join(header), "s;" * (len(header) - 1) + "g"]
        case "tabs and epoch milliseconds":
            separator = "\t"
            body = [[str(round(float(row[0]) * 1000) + 1_764_072_000_000), *row[1:]] for row in body]
            lines = ["\t".join(header)]
        case "ISO 8601":
            start = np.datetime64("2025-11-25T12:00:00.000")
            body = [[f"{start + np.timedelta64(round(float(row[0]) * 1000), 'ms')}Z", *row[1:]] for row in body]
        case "shuffled, with text and repeated headers":
            rng.shuffle(body)
            for _ in range(20):
                body.insert(rng.randrange(len(body)), rng.choice([header, ["probe loose"], ["", "", ""]]))
    lines += [separator.join(row) for row in body]
    path.write_text("\n".join(lines) + "\n", encoding=encoding)


@pytest.mark.parametrize(
    "name",
    [
        "semicolons and decimal commas",
        "tabs and epoch milliseconds",
        "ISO 8601",
        "shuffled, with text and repeated headers",
    ],
)
def test_the_same_burn_written_by_other_programs_gives_the_same_curves(sticks: Case, tmp_path: Path, name: str) -> None:
    with (sticks.folder / "burn.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    variant(rows, name, tmp_path / "other.csv")
    channels = {role: default_channel(role) for role in Role}
    one = read_recording(sticks.folder / "burn.csv", origin_ns=0)
    other = read_recording(tmp_path / "other.csv", origin_ns=0)
    expected = curves_of(one.batches.values(), channels, one.start_ns)
    got = curves_of(other.batches.values(), channels, other.start_ns)
    assert got.keys() == expected.keys()
    for role, curve in expected.items():
        assert np.array_equal(got[role].t_s, curve.t_s)
        assert np.array_equal(got[role].value, curve.value, equal_nan=True)
