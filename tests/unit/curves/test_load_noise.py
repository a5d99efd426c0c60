"""Noise of known parts, told apart."""

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.load_noise import LoadNoise, noise_around

Array = NDArray[np.float64]
N = 6000


def lasting(n: int, sd: float, lasts_s: float, rng: np.random.Generator) -> Array:
    """Noise with an exponential memory."""
    memory = np.exp(-1.0 / lasts_s)
    push = rng.normal(0.0, sd * (1.0 - memory**2) ** 0.5, n)
    push[0] = rng.normal(0.0, sd)
    for i in range(1, n):
        push[i] += memory * push[i - 1]
    return push


def test_white_noise_is_white() -> None:
    found = noise_around(900.0 - 0.2 * np.arange(N) + np.random.default_rng(1).normal(0.0, 0.3, N), 1, 0.01)
    assert found.white_g == pytest.approx(0.3, rel=0.05)
    assert sum(sd**2 for sd in found.lasting_g) < 0.1 * 0.3**2
    assert found.pace_g2_s3 < 1e-6


@pytest.mark.parametrize("lasts_s", [2.0, 8.0, 30.0])
def test_gusts_of_any_length_are_found(lasts_s: float) -> None:
    rng = np.random.default_rng(2)
    found = noise_around(lasting(N, 2.0, lasts_s, rng) + rng.normal(0.0, 0.1, N), 1, 0.01)
    assert np.sqrt(sum(sd**2 for sd in found.lasting_g)) == pytest.approx(2.0, rel=0.2)
    assert max(zip(found.lasting_g, found.lasting_s, strict=True))[1] == lasts_s


def test_a_wandering_pace_is_found() -> None:
    rng = np.random.default_rng(3)
    pace = np.cumsum(rng.normal(0.0, 4e-3, N))
    found = noise_around(np.cumsum(pace) + rng.normal(0.0, 0.1, N), 1, 0.01)
    assert found.pace_g2_s3 == pytest.approx(1.6e-5, rel=0.4)
    assert found.white_g == pytest.approx(0.1, rel=0.2)


def test_the_covariance_is_that_of_the_process_it_names() -> None:
    # The mean over many drawn curves, a reference that owes nothing to the formula.
    rng = np.random.default_rng(4)
    n, draws, parts = 40, 20_000, 20
    pace = np.cumsum(rng.normal(0.0, 0.02 / parts**0.5, (draws, parts * n)), axis=1)
    walks = np.cumsum(pace, axis=1)[:, parts - 1 :: parts] / parts
    t = np.arange(1.0, n + 1.0)
    expected = walks.T @ walks / draws
    found = LoadNoise(1e-6, (0.0,), (8.0,), 4e-4).covariance(t, np.ones(n), np.zeros(n))
    np.testing.assert_allclose(found[5:, 5:], expected[5:, 5:], rtol=0.06)


def test_means_of_several_readings_scatter_less() -> None:
    t, count = np.array([1.0, 2.0, 3.0]), np.array([1.0, 4.0, 16.0])
    found = LoadNoise(0.4, (), (), 0.0).covariance(t, count, np.zeros(4))
    np.testing.assert_allclose(found, np.diag([0.16, 0.04, 0.01]))


def test_noises_that_last_are_shared_by_near_readings() -> None:
    found = LoadNoise(0.0, (2.0,), (8.0,), 0.0).covariance(np.array([0.0, 8.0]), np.ones(2), np.zeros(9))
    np.testing.assert_allclose(found, 4.0 * np.array([[1.0, np.exp(-1.0)], [np.exp(-1.0), 1.0]]))


def test_single_spikes_do_not_make_a_noisy_cell() -> None:
    level = np.random.default_rng(5).normal(0.0, 0.1, 600)
    level[[50, 200, 201, 400]] += [800.0, -300.0, 500.0, 3000.0]
    assert noise_around(level, 1, 0.01).white_g < 0.2


@pytest.mark.parametrize("level", [np.zeros(0), np.zeros(3), np.full(50, np.nan), np.zeros(400), np.arange(9.0)])
def test_next_to_nothing_has_the_least_noise(level: Array) -> None:
    found = noise_around(level, 1, 0.05)
    assert found.white_g == pytest.approx(0.05, rel=0.01)
    assert all(np.isfinite(found.lasting_g))


def test_a_slow_logger_has_slow_noise() -> None:
    sparse = np.full(N, np.nan)
    sparse[::5] = np.random.default_rng(6).normal(0.0, 0.3, N // 5)
    found = noise_around(sparse, 5, 0.01)
    assert found.white_g == pytest.approx(0.3, rel=0.1)
    assert found.lasting_s == (10.0, 40.0, 150.0)


def test_the_whole_scatter_is_the_root_of_the_sum_of_squares_of_its_parts() -> None:
    # A Pythagorean quadruple: 1² + 2² + 2² = 3².
    assert LoadNoise(1.0, (2.0, 2.0), (2.0, 8.0), 0.5).total_g == pytest.approx(3.0)
