"""The end of fast loss under a pot whose steam nobody knows, on rates whose parts are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import seconds
from emberline.curves.fast_loss import final_fall
from emberline.curves.veiled_fall import veiled_fall
from two_regimes_fixture import FALL_S, LEVEL_G_S, LIT_S, correlated, rates

Array = NDArray[np.float64]
FOOT_S = FALL_S + 60.0


def steam(share: float, n: int = 2100, cooling_s: float = 700.0) -> Array:
    """A pot's steam, as a share of what it and fuel lose together: it comes with the heat and sinks with it."""
    t = seconds(n)
    warms = np.clip((t - 200.0) / 400.0, 0.0, 1.0)
    return LEVEL_G_S * share / (1.0 - share) * warms * np.exp(-np.maximum(t - FOOT_S, 0.0) / cooling_s)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("share", [0.25, 0.4, 0.5])
def test_the_foot_is_where_only_steam_and_char_are_left(share: float, seed: int) -> None:
    fall = veiled_fall(rates(2100, seed=seed) + steam(share), LIT_S, (), 2100.0)
    assert fall is not None
    assert abs(fall.foot_s - FOOT_S) < 45.0
    assert fall.blurred_s > 45.0
    assert fall.tail_g_s == pytest.approx(LEVEL_G_S * share / (1.0 - share), rel=0.25)


def test_a_level_tail_would_be_late_by_minutes() -> None:
    fall = final_fall(rates(2100) + steam(0.5), LIT_S, ())
    assert fall is None or fall.foot_s > FOOT_S + 120.0


@pytest.mark.parametrize("seed", range(4))
def test_a_fire_that_burns_on_has_none(seed: int) -> None:
    # Even, but for a flame that wavers over minutes.
    burning = (rates(900, seed=seed) + steam(0.4, 900)) * (1.0 + correlated(900, 0.08, 60.0, 7 + seed))
    assert veiled_fall(burning, LIT_S, (), 900.0) is None


def test_what_was_not_watched_for_long_enough_is_not_said() -> None:
    rate = rates(2100) + steam(0.45)
    assert veiled_fall(rate[:1080], LIT_S, (), 1080.0) is None
    assert veiled_fall(rate, LIT_S, (), 1080.0) is None


def test_a_pot_lifted_from_a_fire_that_burns_on_ends_nothing() -> None:
    # It dwindles under the pot for some minutes, and picks up once that is gone.
    dwindles = np.interp(seconds(2100), [500.0, 560.0, 800.0, 830.0], [1.0, 0.5, 0.5, 1.0])
    assert veiled_fall(rates(2100) * dwindles, LIT_S, (), 800.0) is None


@pytest.mark.parametrize("n", [0, 1, 50, 200])
def test_next_to_nothing_tells_nothing(n: int) -> None:
    assert veiled_fall(np.full(n, 0.1), None, (), float(n)) is None
    assert veiled_fall(np.full(n, np.nan), 10.0, (), float(n)) is None
    assert veiled_fall(np.full(n, 0.001), None, (), float(n)) is None


def test_a_load_cell_that_settles_by_some_grams_has_burnt_nothing() -> None:
    settling = np.where(seconds(900) < 200.0, 0.012, 0.002)
    assert veiled_fall(settling, None, (), 900.0) is None
