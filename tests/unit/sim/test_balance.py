from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline_sim.balance import read_balance
from emberline_sim.specs import BalanceSpec

T_S = np.arange(0.0, 1800.0, 0.1)
QUIET = BalanceSpec(noise_g=0.0, flicker_g=0.0, creep=0.0, drift_g_k=0.0, spikes_per_h=0.0)


def read(load_g: NDArray[np.float64], spec: BalanceSpec, warming_k: float = 0.0, seed: int = 1) -> NDArray[np.float64]:
    pot_g = np.zeros_like(T_S)
    warming = np.linspace(0.0, warming_k, len(T_S))
    return read_balance(T_S, load_g, pot_g, warming, 600.0, spec, np.random.default_rng(seed))


LEVEL = np.full_like(T_S, 1000.0)
STEP = np.where(T_S >= 600.0, 1800.0, 1000.0)


def test_a_quiet_cell_reads_the_load_in_steps_of_its_counts() -> None:
    reading = read(STEP, QUIET)
    assert reading[:5900] == pytest.approx(1000.0, abs=0.5 / 419.0)
    assert reading[6100:] == pytest.approx(1800.0, abs=0.5 / 419.0)
    counts = reading * 419.0
    np.testing.assert_allclose(counts, np.round(counts), atol=1e-6)


def test_a_step_settles_over_three_conversions() -> None:
    around = read(STEP, QUIET)[5998:6003]
    assert around[1] == pytest.approx(1200.0, abs=1.0)
    assert around[2] == pytest.approx(1600.0, abs=1.0)


def test_noise_has_the_stated_size() -> None:
    assert read(LEVEL, replace(QUIET, noise_g=0.1)).std() == pytest.approx(0.1, rel=0.05)


def test_creep_follows_a_new_load_slowly() -> None:
    reading = read(STEP, replace(QUIET, creep=0.001))
    assert reading[6100] == pytest.approx(1800.0, abs=0.05)
    assert reading[-1] == pytest.approx(1800.0 + 0.8 * (1.0 - np.exp(-2.0)), abs=0.05)


def test_zero_drifts_with_the_cell_and_span_scales() -> None:
    assert read(LEVEL, replace(QUIET, drift_g_k=0.25), warming_k=10.0)[-1] == pytest.approx(1002.5, abs=0.01)
    assert read(LEVEL, replace(QUIET, span=0.01))[0] == pytest.approx(1010.0, abs=0.01)
    assert read(LEVEL, replace(QUIET, tared_with_stove=True, zero_g=3.0))[0] == pytest.approx(403.0, abs=0.01)


def test_spikes_are_rare_and_some_are_absurd() -> None:
    reading = read(LEVEL, replace(QUIET, spikes_per_h=60.0))
    odd = np.isnan(reading) | (np.abs(reading - 1000.0) > 1.0)
    assert 10 < odd.sum() < 60
    assert np.nanmax(np.abs(reading - 1000.0)) > 2000.0


def test_an_overloaded_converter_reports_a_fault() -> None:
    reading = read(np.where(T_S > 900.0, 6000.0, 1000.0), QUIET)
    assert np.isnan(reading[-1])
    assert np.isfinite(reading[0])


def test_a_stuck_converter_repeats_itself() -> None:
    reading = read(LEVEL, replace(QUIET, noise_g=0.1, stuck=((100.0, 200.0),)))
    assert np.ptp(reading[1000:2000]) == 0.0
    assert np.ptp(reading[2000:3000]) > 0.1


def test_an_off_centre_pot_is_misread_in_proportion() -> None:
    pot_g = np.full_like(T_S, 800.0)
    spec = replace(QUIET, off_centre=0.001)
    reading = read_balance(T_S, LEVEL, pot_g, np.zeros_like(T_S), 0.0, spec, np.random.default_rng(1))
    assert reading[0] == pytest.approx(1000.8, abs=0.01)


def test_no_samples_give_no_readings() -> None:
    empty = np.zeros(0)
    assert len(read_balance(empty, empty, empty, empty, 0.0, QUIET, np.random.default_rng(1))) == 0
