from pathlib import Path

import pytest

from emberline_sim.errors import ScenarioError, UnknownScenarioError
from emberline_sim.scenario import load_scenario, parse_scenario, scenario_names

MINIMAL = """
title = "t"
story = "s"
seed = 1
duration_s = 600
[fuel]
form = "chips"
mass_g = 100
[channels.mass]
"""


def test_at_least_fourteen_scenarios_come_with_the_package_each_with_its_story() -> None:
    names = scenario_names()
    assert len(names) >= 14
    scenarios = [load_scenario(name) for name in names]
    assert all(scenario.title and len(scenario.story) > 40 for scenario in scenarios)
    assert len({scenario.seed for scenario in scenarios}) == len(scenarios)


def test_a_scenario_is_read_with_defaults_and_integers_as_numbers() -> None:
    scenario = parse_scenario(MINIMAL)
    assert scenario.fuel is not None
    assert scenario.fuel.mass_g == 100.0
    assert scenario.channels.mass is not None
    assert scenario.channels.water is None
    assert scenario.pot is None


def test_a_file_is_loaded_by_its_path_and_the_seed_can_be_replaced(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(MINIMAL)
    assert load_scenario(str(path)).name == "mine"
    assert load_scenario(str(path), seed=9).seed == 9


@pytest.mark.parametrize(
    ("broken", "hint"),
    [
        (MINIMAL.replace("mass_g", "mas_g"), "fuel.mas_g; did you mean mass_g"),
        (MINIMAL.replace("seed = 1", ""), "missing key seed"),
        (MINIMAL.replace('"chips"', '"logs"'), "fuel.form must be one of pellets"),
        (MINIMAL.replace("mass_g = 100", 'mass_g = "100"'), "fuel.mass_g must be a number"),
        (MINIMAL.replace("mass_g = 100", "mass_g = true"), "fuel.mass_g must be a number"),
        (MINIMAL.replace("seed = 1", "seed = 1.5"), "seed must be of type int"),
        (MINIMAL.replace("600", "-1"), "duration_s"),
        (MINIMAL.replace("mass_g = 100", "mass_g = 0"), "mass_g must be above zero"),
        (MINIMAL + "[[refuel]]\nt_s = 5\n", "missing key refuel[0].mass_g"),
        (MINIMAL + "[refuel]\nt_s = 5\n", "refuel must be a list"),
        (MINIMAL + "[plan]\nweighs_char = true\n", "snuffed_after_s"),
        (MINIMAL + "[burn]\nrelit_s = 100\n", "smother_s"),
        (MINIMAL + "[burn]\nextinction = 15\n", "fraction"),
        (MINIMAL + '[pot]\nstands = "pot_cell"\n', "channels.pot_mass"),
        (MINIMAL + "[[pot.visits]]\non_s = 9\n[[pot.visits]]\non_s = 5\n", "follow each other"),
        (MINIMAL.replace("[channels.mass]", "[channels]\nmass = 3"), "channels.mass must be a table"),
        (MINIMAL + "stuck = [[1.0, 2.0, 3.0]]\n", "must have 2 entries"),
        (MINIMAL + "[plan]\nfactors = {a = 1}\n", "table of texts"),
        (MINIMAL.replace("[fuel]", "[").replace("600", "600"), "not valid TOML"),
        ('title="t"\nstory="s"\nseed=1\nduration_s=9\n[channels.water]\n', "heater_w"),
    ],
)
def test_errors_say_where_and_what(broken: str, hint: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(broken)
    assert hint in str(caught.value)


def test_an_unknown_name_gets_the_nearest_one() -> None:
    with pytest.raises(UnknownScenarioError, match="did you mean light_sticks"):
        load_scenario("light_stick")
    with pytest.raises(UnknownScenarioError, match="no such scenario file"):
        load_scenario("/nowhere/x.toml")


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(ScenarioError, match="cannot be read as text"):
        load_scenario(str(tmp_path / "x.toml"))
