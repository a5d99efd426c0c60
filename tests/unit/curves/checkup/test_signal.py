import numpy as np
import pytest

from emberline.curves.checkup.signal import Nature, Signal, measured
from unit.curves.checkup.made_up import cell, probe


def test_rate_middle_noise_and_drift_of_a_load_cell() -> None:
    found = measured(cell(seconds=60.0, add=np.arange(600, dtype=np.float64) * 0.5))
    assert found.count == 600
    assert found.rate_hz == pytest.approx(10.0, rel=1e-3)
    assert found.middle == pytest.approx(492_150.0, abs=20.0)
    assert found.noise == pytest.approx(60.0, rel=0.1)
    assert found.per_minute is not None
    assert found.u_per_minute is not None
    assert abs(found.per_minute - 300.0) < 3.0 * found.u_per_minute
    assert found.faulty == 0.0


def test_the_uncertainty_of_a_drift_is_what_drifts_scatter_by() -> None:
    found = [measured(cell(seed=seed)) for seed in range(200)]
    slopes = [one.per_minute for one in found if one.per_minute is not None]
    stated = [one.u_per_minute for one in found if one.u_per_minute is not None]
    assert np.std(slopes) == pytest.approx(np.mean(stated), rel=0.15)


def test_faults_are_a_share_and_count_for_nothing_else() -> None:
    signal = probe()
    raw = signal.raw.copy()
    raw[::4] = np.nan
    found = measured(Signal("water", Nature.THERMOCOUPLE, signal.t_s, raw, 0.25))
    assert found.faulty == pytest.approx(0.25)
    assert found.middle == pytest.approx(84.0, abs=1.0)


@pytest.mark.parametrize("count", [0, 1, 3])
def test_of_few_readings_little_is_known(count: int) -> None:
    found = measured(Signal("x", Nature.OTHER, np.arange(count, dtype=np.float64), np.full(count, 5.0)))
    assert found.count == count
    assert found.noise is None
    assert found.per_minute is None
    assert (found.middle is None) == (count == 0)


def test_a_coarse_code_that_hardly_moves_has_some_noise_all_the_same() -> None:
    found = measured(probe(value_c=21.1, noise_c=0.02))
    assert found.noise is not None
    assert 0.0 <= found.noise < 1.0


def test_readings_that_all_agree_neither_scatter_nor_drift() -> None:
    found = measured(Signal("x", Nature.OTHER, np.arange(24, dtype=np.float64) / 4.0, np.full(24, 68.1)))
    assert (found.noise, found.per_minute, found.u_per_minute) == (0.0, 0.0, 0.0)


def test_values_are_in_the_unit() -> None:
    assert np.median(cell().value) == pytest.approx((492_000.0 - 84_000.0) / 420.0, rel=1e-3)
