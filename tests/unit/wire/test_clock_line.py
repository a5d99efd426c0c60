"""The straight line between two clocks."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from emberline_wire.clock_line import PRIOR_DRIFT_PPM, Comparison, fit_line

T0_NS = 1_795_000_000_000_000_000


def comparisons(drift_ppm: float, count: int, seed: int = 1, every_s: float = 10.0) -> list[Comparison]:
    rng = np.random.default_rng(seed)
    points = []
    for i in range(count):
        half_ns = int(rng.uniform(1e6, 5e6))
        ticks = round(i * every_s * 1e6)
        true_ns = T0_NS + ticks * 1000 + round(ticks * 1e-3 * drift_ppm)
        points.append(Comparison(ticks, true_ns + int(rng.uniform(-half_ns, half_ns)), half_ns))
    return points


def test_with_much_data_it_is_weighted_least_squares() -> None:
    """Reference: scipy.optimize.curve_fit with absolute_sigma."""
    points = comparisons(120.0, 60)
    line = fit_line(points)
    last = points[-1]
    x_s = np.array([(c.ticks - last.ticks) * 1e-6 for c in points])
    y_ns = np.array([c.host_ns - last.host_ns - (c.ticks - last.ticks) * 1000 for c in points], dtype=float)
    sigma = [c.u_ns for c in points]
    best, cov = curve_fit(lambda x, a, b: a + b * x, x_s, y_ns, sigma=sigma, absolute_sigma=True)
    assert line.host_ns - last.host_ns == pytest.approx(best[0], abs=2e3)
    assert line.drift == pytest.approx(best[1] * 1e-9, abs=2e-8)
    assert line.u_offset_ns == pytest.approx(np.sqrt(cov[0, 0]), rel=0.01)
    assert line.u_drift == pytest.approx(np.sqrt(cov[1, 1]) * 1e-9, rel=0.01)
    ahead = last.ticks + 300_000_000
    expected = np.sqrt(cov[0, 0] + 2 * 300 * cov[0, 1] + 300**2 * cov[1, 1] + line.u_floor_ns**2)
    assert line.u_at(ahead) == pytest.approx(expected, rel=0.02)


def test_with_one_comparison_the_rate_is_what_crystals_are_like() -> None:
    (point,) = comparisons(0.0, 1)
    line = fit_line([point])
    assert line.at(point.ticks) == point.host_ns
    assert line.drift == 0.0
    assert line.u_drift * 1e6 == pytest.approx(PRIOR_DRIFT_PPM)
    assert line.u_at(100_000_000) == pytest.approx(100e9 * 200e-6, rel=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_it_lies_within_its_stated_error(seed: int) -> None:
    line = fit_line(comparisons(150.0, 20, seed))
    true_ns = T0_NS + 190 * 10**9 + round(190e9 * 150e-6)
    assert abs(line.at(190_000_000) - true_ns) < 2.5 * line.u_at(190_000_000)


def test_averaging_never_goes_below_the_best_comparison() -> None:
    points = comparisons(0.0, 64)
    assert fit_line(points).u_at(points[-1].ticks) >= min(c.u_ns for c in points)


def test_the_uncertainty_of_an_interval_is_that_of_an_even_distribution() -> None:
    """JCGM 100:2008, 4.3.7: half-width over the square root of three."""
    assert Comparison(0, 0, 3_000_000).u_ns == pytest.approx(3e6 / 3**0.5, rel=0.01)
