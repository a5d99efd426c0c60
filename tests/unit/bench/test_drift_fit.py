import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import linregress

from emberline.bench.drift_fit import DriftFit, fit_drift
from emberline.bench.errors import CalibrationError

MINUTES = 60
WARMED_C = 18.0 + 12.0 * np.concatenate((np.linspace(0.0, 1.0, 30), np.linspace(1.0, 0.2, 30)))


def test_a_straight_drift_is_found_as_least_squares_find_it() -> None:
    rng = np.random.default_rng(3)
    zero_g = 5.0 + 0.12 * WARMED_C + rng.normal(0.0, 0.05, MINUTES)
    fit, reference = fit_drift(WARMED_C, zero_g), linregress(WARMED_C, zero_g)
    assert fit.g_per_k == pytest.approx(reference.slope, rel=1e-9)
    assert fit.rise_k == pytest.approx(12.0)
    assert fit.begin_c == pytest.approx(18.0)
    assert abs(fit.g_per_k - 0.12) < 2.0 * fit.u_g_per_k
    # Never surer than ordinary least squares, which take minutes for independent; nor without end.
    assert float(reference.stderr) < fit.u_g_per_k < 3.0 * float(reference.stderr)


def test_residuals_that_go_together_make_it_less_sure_by_as_much_as_they_scatter() -> None:
    rng = np.random.default_rng(4)
    fits: list[DriftFit] = []
    for _ in range(200):
        slow = lfilter([1.0], [1.0, -0.8], rng.normal(0.0, 0.03, MINUTES))
        fits.append(fit_drift(WARMED_C, 0.1 * WARMED_C + slow))
    scatter = float(np.std([fit.g_per_k for fit in fits]))
    stated = float(np.median([fit.u_g_per_k for fit in fits]))
    assert 0.8 * scatter < stated < 2.0 * scatter


def test_warming_and_cooling_on_two_lines_is_hysteresis() -> None:
    cooling = np.arange(MINUTES) >= 30
    fit = fit_drift(WARMED_C, 0.1 * WARMED_C + 0.4 * cooling)
    assert fit.hysteresis_g == pytest.approx(0.4, abs=0.1)
    assert fit.u_g_per_k > 0.01
    assert fit.u_drift_per_hour > 0.3


def test_a_run_that_does_not_cool_has_no_hysteresis_to_tell() -> None:
    rising = np.linspace(18.0, 30.0, 40)
    fit = fit_drift(rising, 0.1 * rising)
    assert fit.hysteresis_g is None
    assert fit.u_drift_per_hour == pytest.approx(0.1)


def test_too_short_or_too_cold_a_run_is_refused() -> None:
    with pytest.raises(CalibrationError, match="the run has 5 minutes"):
        fit_drift(WARMED_C[:5], WARMED_C[:5])
    with pytest.raises(CalibrationError, match=r"changed by 1\.2 K only"):
        fit_drift(18.0 + 0.1 * (WARMED_C - 18.0), WARMED_C)
