"""Sizes of handlings whose places are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.load_noise import LoadNoise
from emberline.curves.step_sizes import Handling, Sizes, fit_sizes

Array = NDArray[np.float64]
QUIET = LoadNoise(0.1, (0.0,), (8.0,), 1e-7)


def burn(n: int = 200, *, rate_g_s: float = 0.15, seed: int = 0) -> Array:
    """A stove that loses mass evenly."""
    return 900.0 - rate_g_s * np.arange(n) + np.random.default_rng(seed).normal(0.0, 0.1, n)


def handling(start: int, end: int) -> Handling:
    return Handling(start, end, (float(start), float(end)), 0.3)


def sized(values: Array, *handlings: Handling, code_g: float = 0.0, noise: LoadNoise = QUIET) -> Sizes:
    return fit_sizes(values, list(handlings), 1, noise, code_g)


def test_a_size_is_net_of_what_burnt_meanwhile() -> None:
    values = burn()
    values[110:] += 80.0
    values[100:110] = np.nan
    fit = sized(values, handling(100, 110))
    assert fit.size_g[0] == pytest.approx(80.0, abs=4.0 * fit.u_g[0])
    assert fit.u_g[0] < 0.4


def test_sizes_add_up_to_the_change_between_the_calm_curve_before_and_after() -> None:
    # Two handlings with five noisy readings between: each is uncertain, their sum is not.
    rng = np.random.default_rng(1)
    values = burn()
    values[102:107] -= 1000.0
    values[102:107] += rng.normal(0.0, 8.0, 5)
    values[109:] += 318.0
    fit = sized(values, handling(100, 102), handling(107, 109), noise=LoadNoise(0.1, (0.0,), (8.0,), 1e-7))
    alone = sized(
        np.where(np.arange(200) < 100, values, np.where(np.arange(200) < 109, np.nan, values)), handling(100, 109)
    )
    assert fit.size_g.sum() == pytest.approx(alone.size_g[0], abs=0.3)
    assert fit.size_g.sum() == pytest.approx(318.0, abs=1.0)


def test_errors_of_neighbours_are_correlated() -> None:
    values = burn()
    values[102:104] -= 1000.0
    fit = sized(values, handling(100, 102), handling(104, 106), noise=LoadNoise(1.0, (0.0,), (8.0,), 1e-7))
    assert fit.covariance_g2[0, 1] < -0.3 * fit.u_g[0] * fit.u_g[1]


def test_a_pace_that_changes_at_the_handling_is_no_load() -> None:
    # Steam stops as the pot is lifted: 24 g/min before, 4 after; lifted at 101 s within a disturbance of 8 s.
    t = np.arange(200.0)
    values = (
        1900.0 - 0.4 * np.minimum(t, 101.0) - 0.07 * np.clip(t - 101.0, 0.0, None) - np.where(t > 101.0, 800.0, 0.0)
    )
    values += np.random.default_rng(2).normal(0.0, 0.1, 200)
    told = sized(values, Handling(98, 106, (100.0, 102.0), 0.3))
    assert told.size_g[0] == pytest.approx(-800.0, abs=3.0 * told.u_g[0])
    # Where nobody knows when it was lifted, the size is less certain.
    untold = sized(values, handling(98, 106))
    assert untold.u_g[0] > 1.5 * told.u_g[0]
    assert untold.size_g[0] == pytest.approx(-800.0, abs=3.0 * untold.u_g[0])


def test_wind_widens_a_size() -> None:
    windy = LoadNoise(0.1, (2.0,), (8.0,), 1e-7)
    values = burn()
    values[102:] += 80.0
    assert sized(values, handling(100, 102), noise=windy).u_g[0] > 5.0 * sized(values, handling(100, 102)).u_g[0]


def test_a_gust_beside_the_handling_is_left_out() -> None:
    values = burn(seed=3)
    values[102:] += 80.0
    values[108:112] += 15.0
    fit = sized(values, handling(100, 102))
    assert fit.size_g[0] == pytest.approx(80.0, abs=1.0)


def test_a_side_without_readings_tells_no_size() -> None:
    values = burn()
    values[102:] = np.nan
    assert np.isnan(sized(values, handling(100, 102)).size_g).all()
    assert np.isnan(sized(np.full(200, np.nan), handling(100, 102)).size_g).all()


def test_standing_codes_are_as_uncertain_as_a_code() -> None:
    # Whole grams without noise or loss: either level may be half a gram off.
    values = np.where(np.arange(200) < 100, 900.0, 1720.0)
    noise = LoadNoise(0.05, (0.0,), (8.0,), 0.0)
    assert sized(values, handling(100, 102), code_g=1.0, noise=noise).u_g[0] > 0.3
    assert sized(values, handling(100, 102), noise=noise).u_g[0] < 0.2


def test_sizes_hold_what_they_promise() -> None:
    rng = np.random.default_rng(4)
    departures = []
    for seed in range(300):
        values, size_g, at = burn(seed=seed, rate_g_s=float(rng.uniform(0.0, 0.4))), float(rng.uniform(-900, 900)), 100
        values[at + 3 :] += size_g
        values[at : at + 3] += rng.normal(0.0, 200.0, 3)
        fit = sized(values, handling(at, at + 3))
        departures.append((fit.size_g[0] - size_g) / fit.u_g[0])
    # The model reckons with more change of pace than an even burn has: covered too often, never too rarely.
    assert 0.5 < np.std(departures) < 1.1
    assert np.mean(np.abs(departures) < 1.96) > 0.92
