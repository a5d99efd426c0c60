from collections.abc import Callable

import numpy as np
import pytest

from emberline_sim.course import Course
from emberline_sim.load import air_forces_g, deeds_g, fuel_load_g, pot_load_g, pot_pushes_g
from emberline_sim.scenario import load_scenario

Courses = Callable[[str], Course]


def test_the_pot_weighs_in_only_while_it_stands_there(course: Courses) -> None:
    scenario, run = load_scenario("fresh_water_twice"), course("fresh_water_twice")
    first, second = run.visits
    assert first.off_s is not None
    assert scenario.pot is not None
    t_s = np.array([first.on_s - 2.0, first.on_s, first.off_s - 2.0, first.off_s, second.on_s - 2.0, second.on_s])
    load = pot_load_g(t_s, scenario, run)
    full_g = scenario.pot.tare_g + 500.0
    assert load[[0, 3, 4]] == pytest.approx(0.0)
    assert load[1] == pytest.approx(full_g, abs=0.1)
    assert load[2] < full_g - 5.0
    assert load[5] == pytest.approx(scenario.pot.tare_g + 650.0, abs=0.1)


def test_a_refuel_falls_in_around_its_middle_and_adds_up(course: Courses) -> None:
    scenario, run = load_scenario("chips_two_refuels"), course("chips_two_refuels")
    t_s = np.array([915.0, 945.0])
    load = fuel_load_g(t_s, scenario, run, np.random.default_rng(1))
    truth = np.interp(t_s, run.t_s, run.column["fuel_g"] + run.column["starter_g"])
    np.testing.assert_allclose(load, truth, atol=0.05)


def test_hands_disturb_a_lift_for_seconds(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    t_s = np.arange(0.0, 1000.0, 0.1)
    pushes = pot_pushes_g(t_s, run, np.random.default_rng(2))
    off_s = run.visits[0].off_s
    assert off_s is not None
    assert np.abs(pushes).max() > 30.0
    near = (np.abs(t_s - off_s) < 4.0) | (np.abs(t_s - run.visits[0].on_s) < 4.0)
    assert not pushes[~near].any()


def test_draught_is_a_false_loss_that_vanishes_at_flameout(course: Courses) -> None:
    run = course("no_pot")
    assert run.flameout_s is not None
    t_s = np.array([10.0, 900.0, run.flameout_s + 60.0])
    force = air_forces_g(t_s, run, 1.0, 0.0, np.random.default_rng(3))
    assert force == pytest.approx([0.0, -1.0, 0.0], abs=0.1)


def test_wind_spreads_the_load(course: Courses) -> None:
    t_s = np.arange(0.0, 1000.0, 0.1)
    windy = air_forces_g(t_s, course("windy_ridge"), 0.0, 1.2, np.random.default_rng(4))
    still = air_forces_g(t_s, course("no_pot"), 0.0, 1.2, np.random.default_rng(4))
    assert 2.0 < windy.std() < 30.0
    assert still.std() == 0.0


def test_a_lid_is_added_and_taken(course: Courses) -> None:
    scenario = load_scenario("lid_and_pokes")
    load = deeds_g(np.array([460.0, 484.0, 520.0]), scenario, np.random.default_rng(5))
    assert load == pytest.approx([0.0, -105.0, 0.0], abs=0.01)
