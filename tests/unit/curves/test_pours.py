"""Loads that come on bit by bit, and what looks like them."""

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.pours import find_pours

Array = NDArray[np.float64]
NOISE_G = 0.1


def falling(pace_g_s: float, n: int = 400, seed: int = 0) -> Array:
    """A burn, with or without a pot that boils."""
    return 1500.0 - pace_g_s * np.arange(n) + np.random.default_rng(seed).normal(0.0, NOISE_G, n)


def poured(curve: Array, size_g: float, over_s: int, at: int = 200) -> Array:
    return curve + size_g * np.clip((np.arange(len(curve)) - at) / over_s, 0.0, 1.0)


def found(curve: Array) -> list[tuple[int, int]]:
    return find_pours(curve, 1, 0.03)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    ("pace_g_s", "size_g", "over_s"), [(0.1, 8.0, 10), (0.8, 20.0, 15), (1.0, 15.0, 15), (0.5, 30.0, 25)]
)
def test_a_slow_pour_is_found_where_it_was(pace_g_s: float, size_g: float, over_s: int, seed: int) -> None:
    ((start, end),) = found(poured(falling(pace_g_s, seed=seed), size_g, over_s))
    assert start <= 203
    assert end >= 197 + over_s
    assert end - start <= 2 * over_s + 6


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("pace_g_s", [0.0, 0.1, 1.0])
def test_an_even_loss_is_no_pour(pace_g_s: float, seed: int) -> None:
    assert found(falling(pace_g_s, seed=seed)) == []


def test_a_fire_that_is_smothered_for_a_while_makes_no_load_rise() -> None:
    lull = 0.2 * np.clip(np.arange(400.0) - 200.0, 0.0, 20.0)
    assert found(falling(0.25) + lull) == []


def test_a_pot_that_comes_to_the_boil_or_is_lifted_from_it_is_no_pour() -> None:
    t = np.arange(400.0)
    assert found(falling(0.1) - 0.7 * np.clip(t - 200.0, 0.0, None)) == []
    assert found(falling(0.1) - 0.7 * np.clip(t, 0.0, 200.0)) == []


def test_a_load_that_scatters_with_gusts_is_no_pour() -> None:
    rng = np.random.default_rng(3)
    gusty = np.where(np.abs(np.arange(400) - 210) < 15, rng.normal(2.0, 2.0, 400), 0.0)
    assert found(falling(0.15) + gusty) == []


def test_a_logger_that_speaks_every_other_second_is_enough() -> None:
    values = poured(falling(0.8), 25.0, 20)
    values[1::2] = np.nan
    ((start, end),) = find_pours(values, 2, 0.03)
    assert start <= 206 < 214 <= end
