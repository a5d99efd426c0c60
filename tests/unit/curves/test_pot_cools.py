"""Where water over a dying fire turns to cooling, on pots whose heat is known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import seconds
from emberline.curves.pot_cools import LEAST_HOT_C, LIVES_ON_S, turn_to_cooling

Array = NDArray[np.float64]
OUT_S = 1_500.0
HEAT_J_K, LOSS_W_K = 5_000.0, 4.0


def water(heat_w: Array, *, start_c: float = 20.0, air_c: float = 18.0, noise_k: float = 0.05) -> Array:
    """The temperature of 1.1 kg of water that takes up some heat and loses 4 W/K; it boils at 100 degrees."""
    t_c = np.zeros(len(heat_w))
    now_c = start_c
    for i, power_w in enumerate(heat_w):
        now_c = min(100.0, now_c + (power_w - LOSS_W_K * (now_c - air_c)) / HEAT_J_K)
        t_c[i] = now_c
    return t_c + np.random.default_rng(4).normal(0.0, noise_k, len(t_c))


def heat(n: int, moments: list[tuple[float, float]]) -> Array:
    return np.asarray(np.interp(seconds(n), [t for t, _ in moments], [w for _, w in moments]))


@pytest.mark.parametrize("falls_over_s", [20.0, 120.0, 300.0])
@pytest.mark.parametrize("flame_w", [420.0, 800.0])
def test_the_end_of_flame_is_where_the_fall_of_heat_ends(flame_w: float, falls_over_s: float) -> None:
    # Once it still warms when the flame dies, once it boils.
    turn = turn_to_cooling(water(heat(2200, [(OUT_S - falls_over_s, flame_w), (OUT_S, 30.0)])), 0, 2200)
    assert turn is not None
    assert abs(turn.t_s - LIVES_ON_S - OUT_S) < 40.0
    assert turn.t_s - 1.96 * turn.u_s < OUT_S < turn.t_s + 1.96 * turn.u_s
    assert turn.after_k_s < -0.02
    assert turn.before_k_s > turn.after_k_s


def test_the_longer_a_flame_dies_the_less_is_known() -> None:
    sharp, slow = (turn_to_cooling(water(heat(2400, [(OUT_S - s, 500.0), (OUT_S, 20.0)])), 0, 2400) for s in (20, 350))
    assert sharp is not None
    assert slow is not None
    assert slow.u_s > sharp.u_s + 10.0


def test_where_the_record_ends_does_not_matter() -> None:
    whole = water(heat(2600, [(OUT_S - 60.0, 500.0), (OUT_S, 20.0)]))
    moments = [turn_to_cooling(whole[:n], 0, n) for n in (1750, 1900, 2600)]
    assert [turn is not None and abs(turn.t_s - LIVES_ON_S - OUT_S) < 40.0 for turn in moments] == [True] * 3


def test_a_fire_that_burns_low_has_not_ended() -> None:
    # The water cools slowly over what is left of the fire, and faster once that is gone too.
    low = heat(3000, [(1200.0, 800.0), (1260.0, 200.0), (2400.0, 200.0), (2430.0, 10.0)])
    turn = turn_to_cooling(water(low), 0, 3000)
    assert turn is None or abs(turn.t_s - LIVES_ON_S - 2430.0) < 60.0


def test_water_over_a_steady_fire_never_turns() -> None:
    assert turn_to_cooling(water(np.full(1800, 600.0)), 0, 1800) is None
    wavers = 500.0 + 200.0 * np.sin(seconds(1800) / 40.0)
    assert turn_to_cooling(water(wavers), 0, 1800) is None


def test_a_pot_that_was_lifted_from_a_fire_says_nothing() -> None:
    lifted = water(heat(2000, [(1000.0, 600.0), (1001.0, 0.0)]))
    assert turn_to_cooling(lifted, 0, 1000) is None


def test_cool_water_says_nothing() -> None:
    cool = water(heat(2000, [(900.0, 60.0), (930.0, 0.0)]))
    assert cool.max() < LEAST_HOT_C
    assert turn_to_cooling(cool, 0, 2000) is None


@pytest.mark.parametrize("n", [0, 1, 40, 400])
def test_a_record_of_next_to_nothing_has_no_turn(n: int) -> None:
    assert turn_to_cooling(np.full(n, np.nan), 0, n) is None
    assert turn_to_cooling(np.full(n, 60.0), 0, n) is None
