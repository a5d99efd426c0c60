import csv
import json
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from emberline_sim.files import plan_text, write_csv, write_plan, write_truth
from emberline_sim.particles import random_burn
from emberline_sim.recording import Recording
from emberline_sim.trial_specs import PlanSpec

Recordings = Callable[[str], Recording]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_csv_has_every_sample_once_in_time_order(recording: Recordings, tmp_path: Path) -> None:
    one = recording("loose_lead")
    write_csv(one, tmp_path / "burn.csv")
    rows = rows_of(tmp_path / "burn.csv")
    assert list(rows[0]) == ["time_s", "water_c", "flame_c", "mass_g", "ambient_c"]
    times = [float(row["time_s"]) for row in rows]
    assert times == sorted(times)
    for role, name in (("water", "water_c"), ("flame", "flame_c"), ("mass", "mass_g")):
        cells = [row[name] for row in rows if row[name] != ""]
        value = one.channels[role].value
        assert len(cells) == len(value)
        np.testing.assert_allclose(np.array(cells, dtype=float), value, atol=6e-4)
    assert "NaN" in {row["water_c"] for row in rows}


def test_csv_leaves_out_channels_that_are_not_fitted(recording: Recordings, tmp_path: Path) -> None:
    write_csv(recording("mass_only"), tmp_path / "burn.csv")
    assert list(rows_of(tmp_path / "burn.csv")[0]) == ["time_s", "mass_g"]


def test_plan_tells_what_the_person_knows(recording: Recordings, tmp_path: Path) -> None:
    one = recording("chips_two_refuels")
    write_plan(one, tmp_path / "plan.toml")
    plan = tomllib.loads((tmp_path / "plan.toml").read_text())
    assert plan["factors"] == {"fuel": "chips", "refuels": "2"}
    assert plan["fuel"]["mass_g"] == 170.0
    assert plan["pot"]["tare_g"] == 274.0
    assert [refuel["mass_g"] for refuel in plan["refuel"]] == [62.0, 55.0]
    assert plan["pot"]["final_water_g"] == pytest.approx(500.0 - one.truth.water_evaporated_g, abs=0.1)
    assert "final_water_delay_s" not in plan["pot"]
    assert plan["place"] == {"altitude_m": 430.0, "ambient_c": 13.5}


def test_plan_of_several_visits_and_of_a_weighing_after_a_while(recording: Recordings) -> None:
    twice = recording("fresh_water_twice")
    plan = tomllib.loads(plan_text(twice))
    assert [visit["water_g"] for visit in plan["pot"]["visit"]] == [500.0, 650.0]
    left_g = 650.0 - twice.truth.stays[1].water_evaporated_g
    assert plan["pot"]["visit"][1]["final_water_g"] == pytest.approx(left_g, abs=0.1)
    later = tomllib.loads(plan_text(recording("hardwood_refuelled")))
    assert later["pot"]["final_water_delay_s"] == 20.0


def test_a_title_of_any_signs_makes_a_plan(recording: Recordings) -> None:
    one = recording("mass_only")
    titled = replace(one, scenario=replace(one.scenario, title='a "C:\\"\nb\x7f', plan=PlanSpec()))
    assert tomllib.loads(plan_text(titled))["label"] == 'a "C:\\"\nb\x7f'


def test_plan_gives_the_cold_char(recording: Recordings) -> None:
    one = recording("no_pot")
    fuel = tomllib.loads(plan_text(one))["fuel"]
    assert one.truth.char_left_g is not None
    assert fuel["char_snuffed_s"] == 45.0
    assert one.truth.char_left_g - 3.0 < fuel["char_left_g"] < one.truth.char_left_g
    assert fuel["unburnt_g"] == pytest.approx(one.truth.unburnt_g, abs=0.6)


def test_nobody_writes_down_more_water_than_there_was_though_scales_round_up() -> None:
    pot = tomllib.loads(plan_text(random_burn(7106, "never_lit")))["pot"]
    assert pot["water_g"] < 653.24  # which is what it was by two decimals, and all of it was left
    assert pot["final_water_g"] == pot["water_g"]


def test_truth_file_is_json(recording: Recordings, tmp_path: Path) -> None:
    write_truth(recording("mass_only"), tmp_path / "truth.json")
    assert json.loads((tmp_path / "truth.json").read_text())["unburnt_g"] >= 0.0
