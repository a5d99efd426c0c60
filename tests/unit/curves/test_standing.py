"""How still a plateau is, on readings whose wander is known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.standing import wander_k

Array = NDArray[np.float64]


def followed(fire_k: float, tau_s: float = 80.0, n: int = 400, seed: int = 3) -> Array:
    """Return water that follows a fire which wavers over half a minute, by first-order lag."""
    rng = np.random.default_rng(seed)
    away, fire, water = np.zeros(n), 0.0, 0.0
    for second in range(n):
        fire += -fire / 30.0 + rng.normal(0.0, fire_k * (2.0 / 30.0) ** 0.5)
        water += (fire - water) / tau_s
        away[second] = water
    return 97.0 + away + rng.normal(0.0, 0.1, n)


SECONDS = np.arange(400.0)


def test_noise_of_seconds_averages_out() -> None:
    # 0.1 K of white noise in 20 readings: 0.1 / sqrt(20) = 0.022 K.
    still = 99.0 + np.random.default_rng(1).normal(0.0, 0.1, 400)
    assert wander_k(SECONDS, still, 10.0, 390.0, 0.001) == pytest.approx(0.022, abs=0.012)


def test_water_below_boiling_follows_its_fire() -> None:
    assert wander_k(SECONDS, followed(1.0), 10.0, 390.0, 0.001) > 0.15


def test_a_dying_fire_at_the_end_counts_as_no_wander() -> None:
    ends = 99.0 + np.random.default_rng(2).normal(0.0, 0.05, 400)
    ends[200:] -= 0.02 * np.arange(200.0)
    assert wander_k(SECONDS, ends, 10.0, 390.0, 0.001) < 0.05


def test_a_standing_code_tells_nothing_below_its_step() -> None:
    assert wander_k(SECONDS, np.full(400, 99.0), 10.0, 390.0, 1.0) == pytest.approx(1.0 / 12.0**0.5)
    between = 99.0 + np.random.default_rng(4).normal(0.0, 0.6, 400).round()
    assert wander_k(SECONDS, between, 10.0, 390.0, 1.0) < 0.25


def test_too_short_a_plateau_says_nothing() -> None:
    assert np.isnan(wander_k(SECONDS, np.full(400, 99.0), 10.0, 100.0, 0.1))
    assert np.isnan(wander_k(SECONDS, np.full(400, 99.0), 395.0, 390.0, 0.1))
    assert np.isnan(wander_k(SECONDS, 99.0 - 0.01 * SECONDS, 10.0, 390.0, 0.1))
