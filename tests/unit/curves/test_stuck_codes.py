"""Runs of one code: those of a stuck converter, and those that are honest."""

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import column
from emberline.curves.stuck_codes import LEAST_RUN, without_stuck

Array = NDArray[np.float64]


def burn(n: int = 600, *, rate_g_s: float = 0.15, noise_g: float = 0.1, code_g: float = 0.01, seed: int = 0) -> Array:
    """A stove that loses mass evenly, read in codes."""
    rng = np.random.default_rng(seed)
    return np.round((900.0 - rate_g_s * np.arange(n) + rng.normal(0.0, noise_g, n)) / code_g) * code_g


def blank(values: Array, per_second: int = 1) -> NDArray[np.int64]:
    """Seconds that are taken out."""
    cleaned = without_stuck(column(values, per_second=per_second))
    kept = np.isfinite(cleaned)
    np.testing.assert_array_equal(cleaned[kept], values[kept])
    return np.flatnonzero(np.isfinite(values) & ~kept)


@pytest.mark.parametrize("long_s", [6, 20, 60])
@pytest.mark.parametrize("code_g", [0.01, 0.1])
def test_a_converter_that_hangs_is_not_believed_until_it_speaks_again(code_g: float, long_s: int) -> None:
    values = burn(code_g=code_g, noise_g=0.15, seed=1)
    values[300 : 300 + long_s] = values[300]
    assert blank(values).tolist() == list(range(301, 300 + long_s))


def test_the_second_in_which_it_comes_loose_is_left_out_where_it_holds_several_readings() -> None:
    values = burn(seed=2)
    values[300:320] = values[300]
    assert blank(values, per_second=10).tolist() == list(range(301, 321))


@pytest.mark.parametrize("code_g", [0.5, 1.0])
def test_coarse_codes_are_told_from_a_hang_by_the_catching_up(code_g: float) -> None:
    values = burn(rate_g_s=0.3, noise_g=0.05, code_g=code_g, seed=3)
    assert len(blank(values)) == 0
    values[300:320] = values[300]
    assert set(range(302, 320)) <= set(blank(values).tolist())


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("code_g", [0.1, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("rate_g_s", [0.0, 0.005, 0.05, 0.3])
def test_honest_codes_stay(rate_g_s: float, code_g: float, seed: int) -> None:
    assert len(blank(burn(1200, rate_g_s=rate_g_s, noise_g=0.05, code_g=code_g, seed=seed))) == 0


def test_a_rest_before_the_pot_is_set_down_stays() -> None:
    values = np.round(burn(rate_g_s=0.0, noise_g=0.2, code_g=1.0, seed=4))
    values[300:] += 1200.0
    assert len(blank(values)) == 0


def test_a_fire_that_pauses_is_no_hang() -> None:
    # Cold fuel stops the loss for 25 s; nothing catches up afterwards.
    t = np.arange(600.0)
    loss = 0.3 * np.minimum(t, 300.0) + 0.3 * np.clip(t - 325.0, 0.0, None)
    values = np.round(900.0 - loss + np.random.default_rng(5).normal(0.0, 0.05, 600))
    assert len(blank(values)) == 0


@pytest.mark.parametrize("values", [[], [5.0], [5.0] * 40, [np.nan] * 40])
def test_little_or_nothing_is_returned_as_it_is(values: list[float]) -> None:
    assert len(blank(np.array(values))) == 0


def test_a_run_with_little_on_either_side_is_judged_all_the_same() -> None:
    few = LEAST_RUN - 1
    values = np.concatenate((np.arange(float(few)), np.full(2 * LEAST_RUN, 50.0), 60.0 + np.arange(float(few))))
    kept = without_stuck(column(values))
    assert np.array_equal(kept, values)
