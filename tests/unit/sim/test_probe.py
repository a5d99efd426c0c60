from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline_sim.course import Course
from emberline_sim.probe import converted, lagged_c, read_water
from emberline_sim.specs import FaultSpec, ProbeSpec

Courses = Callable[[str], Course]
grid_s = np.arange(0.0, 2000.0, 0.25)
CLEAN = ProbeSpec(noise_c=0.0, converter="fine")


def read(course: Course, spec: ProbeSpec) -> NDArray[np.float64]:
    return read_water(grid_s, course, spec, np.random.default_rng(1))


def test_a_lagged_step_reaches_63_percent_after_one_time_constant() -> None:
    around = np.where(np.arange(400) >= 100, 80.0, 20.0)
    shown = lagged_c(around, np.full(400, 2.0), 0.25)
    assert shown[99] == pytest.approx(20.0)
    assert shown[107] == pytest.approx(20.0 + 60.0 * (1.0 - np.exp(-1.0)))


def test_it_reads_the_water_with_its_lag(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    on_s = run.visits[0].on_s
    rising = (grid_s > on_s + 60.0) & (grid_s < on_s + 180.0)
    truth = np.interp(grid_s, run.t_s, run.column["bulk_c"])
    behind = truth[rising] - read(run, replace(CLEAN, lag_s=3.0))[rising]
    slope = np.gradient(truth, grid_s)[rising]
    assert behind.mean() == pytest.approx(3.0 * slope.mean(), rel=0.1)


def test_bias_steps_and_noise(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    biased = read(run, replace(CLEAN, bias_c=-2.0)) - read(run, CLEAN)
    assert biased == pytest.approx(-2.0, abs=0.01)
    coarse = read(run, ProbeSpec(converter="coarse"))
    np.testing.assert_allclose(coarse * 4.0, np.round(coarse * 4.0))
    before = grid_s < 200.0
    assert read(run, replace(CLEAN, noise_c=0.2))[before].std() == pytest.approx(0.2, rel=0.1)


def test_a_warming_cold_junction_adds_its_error_slowly(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    error = read(run, replace(CLEAN, cold_junction_c=1.5)) - read(run, CLEAN)
    assert error[0] == pytest.approx(0.0, abs=0.02)
    assert error[-1] == pytest.approx(1.5, abs=0.3)


def test_open_gives_nan_and_short_gives_its_own_temperature() -> None:
    t_s = np.arange(0.0, 30.0)
    faults = (FaultSpec("open", 5.0, 10.0), FaultSpec("short", 20.0))
    value = converted(t_s, np.full(30, 90.0), np.full(30, 24.0), 0.0, 0.25, faults, np.random.default_rng(1))
    assert np.isnan(value[5:10]).all()
    assert (value[10:20] == 90.0).all()
    assert (value[20:] == 24.0).all()


def test_fallen_out_it_reads_warm_air_and_recovers(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    spec = replace(CLEAN, faults=(FaultSpec("out", 400.0, 560.0),))
    reading = read(run, spec)
    assert 18.0 < np.interp(555.0, grid_s, reading) < 60.0
    assert np.interp(580.0, grid_s, reading) == pytest.approx(np.interp(580.0, grid_s, read(run, CLEAN)), abs=0.6)


def test_where_it_hangs_matters(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    rising = (grid_s > run.visits[0].on_s + 60.0) & (grid_s < run.visits[0].on_s + 180.0)
    middle, base, surface = (
        read(run, replace(CLEAN, spot=spot))[rising].mean() for spot in ("middle", "base", "surface")
    )
    assert base > middle + 1.0
    assert surface < middle - 0.5


def test_it_ripples_on_the_boil_and_scatters_just_before(course: Courses) -> None:
    run = course("pot_never_lifted")
    boil_s = run.visits[0].boil_s
    assert boil_s is not None
    boiling = read(run, CLEAN)[(grid_s > boil_s + 60.0) & (grid_s < boil_s + 360.0)]
    assert 0.03 < boiling.std() < 0.3
    assert boiling.mean() == pytest.approx(run.boiling_c, abs=0.1)


def test_a_probe_that_stays_behind_hangs_in_the_air(course: Courses) -> None:
    run = course("pellets_pot_lifted")
    reading = read(run, replace(CLEAN, stays_in_pot=False))
    assert np.interp(100.0, grid_s, reading) < 35.0
    assert np.interp(1500.0, grid_s, reading) < 40.0
