import numpy as np
import pytest
from scipy.signal import welch

from emberline_sim.particles.noise import coloured, wind_m_s


@pytest.mark.parametrize("slope", [0.0, 1.0, 5.0 / 3.0])
def test_the_spectrum_falls_by_the_power_asked_for(slope: float) -> None:
    x = coloured(2**16, 0.5, slope, 2000.0, np.random.default_rng(1))
    f, density = welch(x, fs=2.0, nperseg=4096)
    inside = (f > 0.01) & (f < 0.5)
    fitted = np.polyfit(np.log(f[inside]), np.log(density[inside]), 1)[0]
    assert -fitted == pytest.approx(slope, abs=0.08)


def test_unit_variance_on_average() -> None:
    rng = np.random.default_rng(2)
    variances = [np.var(coloured(5000, 0.5, 1.2, 60.0, rng)) for _ in range(60)]
    assert np.mean(variances) == pytest.approx(1.0, abs=0.05)


def test_a_shortest_period_takes_out_what_is_quicker() -> None:
    slow = coloured(20000, 0.5, 1.0, 500.0, np.random.default_rng(3), quickest_s=20.0)
    quick = coloured(20000, 0.5, 1.0, 500.0, np.random.default_rng(3))
    assert np.std(np.diff(slow)) < 0.2 * np.std(np.diff(quick))


def test_a_short_series_is_made_too() -> None:
    assert len(coloured(2, 0.5, 1.0, 10.0, np.random.default_rng(4))) == 2


def test_wind_keeps_mean_and_gustiness() -> None:
    wind = np.concatenate([wind_m_s(7200, 0.5, 1.5, 0.4, np.random.default_rng(seed)) for seed in range(40)])
    assert wind.min() > 0.0
    assert np.mean(wind) == pytest.approx(1.5, rel=0.04)
    assert np.std(wind) / np.mean(wind) == pytest.approx(0.4, abs=0.05)
