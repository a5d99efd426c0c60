from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.course import Course
from emberline_sim.flame import convection_w_m2k, read_flame, settled_bead_c
from emberline_sim.specs import FaultSpec, FlameProbeSpec

Courses = Callable[[str], Course]
grid_s = np.arange(0.0, 3000.0, 0.25)


def test_a_bead_reads_low_by_its_radiation_the_more_the_thicker_it_is() -> None:
    for gas_c in (800.0, 1000.0):
        beads = [settled_bead_c(gas_c, 50.0, size_mm / 1000.0) for size_mm in (0.5, 1.0, 3.0)]
        assert gas_c > beads[0] > beads[1] > beads[2] > 50.0
    assert settled_bead_c(400.0, 400.0, 0.001) == pytest.approx(400.0)


def test_small_beads_take_heat_faster() -> None:
    assert convection_w_m2k(0.0005, 2.0, 800.0) > convection_w_m2k(0.003, 2.0, 800.0)


@pytest.mark.parametrize("bead_mm", [0.5, 1.5, 3.0])
def test_it_is_hot_in_flame_warm_over_char_and_cold_before(course: Courses, bead_mm: float) -> None:
    run = course("pellets_pot_lifted")
    assert run.flameout_s is not None
    reading = read_flame(grid_s, run, FlameProbeSpec(bead_mm=bead_mm), np.random.default_rng(1))
    flaming = reading[(grid_s > 600.0) & (grid_s < 1500.0)]
    glowing = reading[(grid_s > run.flameout_s + 120.0) & (grid_s < run.flameout_s + 500.0)]
    assert reading[grid_s < 70.0].max() < 40.0
    assert 550.0 < flaming.mean() < 850.0
    assert 300.0 < glowing.mean() < 520.0
    assert flaming.std() > glowing.std()


def test_it_falls_in_a_refuel_dip_and_comes_back(course: Courses) -> None:
    run = course("chips_two_refuels")
    reading = read_flame(grid_s, run, FlameProbeSpec(bead_mm=1.0), np.random.default_rng(2))
    before, dip, after = (
        reading[(grid_s > low) & (grid_s < high)] for low, high in ((850.0, 920.0), (935.0, 965.0), (1050.0, 1150.0))
    )
    assert dip.min() < before.mean() - 100.0
    assert after.mean() == pytest.approx(before.mean(), abs=60.0)


def test_faults_pass_through(course: Courses) -> None:
    spec = replace(FlameProbeSpec(), faults=(FaultSpec("open", 100.0, 200.0),))
    reading = read_flame(grid_s, course("pellets_pot_lifted"), spec, np.random.default_rng(3))
    assert np.isnan(reading[(grid_s >= 100.0) & (grid_s < 200.0)]).all()
    assert np.isfinite(reading[grid_s >= 200.0]).all()
