"""The last fall of a burning rate, on rates whose parts are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import seconds
from emberline.curves.fast_loss import FIRST_SHARE, NEAR_SHARE, final_fall, flaming_level
from two_regimes_fixture import FALL_S, LEVEL_G_S, LIT_S, TAIL_G_S, passes_s, rates


def test_the_fall_has_its_parts() -> None:
    fall = final_fall(rates(seed=3), LIT_S, ())
    assert fall is not None
    assert fall.flaming_g_s == pytest.approx(LEVEL_G_S, rel=0.1)
    assert fall.tail_g_s == pytest.approx(TAIL_G_S, rel=0.2)
    assert abs(fall.half_s - (FALL_S + 60.0 * 0.5 * LEVEL_G_S / (LEVEL_G_S - TAIL_G_S))) < 8.0
    assert abs(fall.foot_s - (FALL_S + 60.0)) < 10.0
    assert abs(fall.sunk_s - passes_s(FIRST_SHARE)) < 8.0


def test_the_flaming_level_is_the_median_of_the_vigorous() -> None:
    rate = np.concatenate((np.full(300, 0.01), np.full(200, 0.14), np.full(200, 0.16), [np.nan] * 50))
    assert flaming_level(rate, 0, len(rate)) == pytest.approx(0.15, abs=0.011)
    assert flaming_level(rate, 0, 300) == pytest.approx(0.01)
    assert flaming_level(rate, 700, 750) == 0.0


def test_over_brightly_glowing_char_the_rate_has_sunk_near_its_level() -> None:
    tail_g_s = 0.25 * LEVEL_G_S
    fall = final_fall(rates(tail_g_s=tail_g_s), LIT_S, ())
    assert fall is not None
    assert abs(fall.sunk_s - passes_s(0.25 + 0.75 * NEAR_SHARE, tail_g_s=tail_g_s)) < 8.0


def test_a_flame_that_burns_on_low_and_then_goes_out_ends_there() -> None:
    low = np.interp(seconds(1800), [960.0, 1250.0, 1270.0], [0.045, 0.045, 0.0])
    fall = final_fall(np.where(seconds(1800) > 960.0, TAIL_G_S + low, rates(1800)), LIT_S, ())
    assert fall is not None
    assert abs(fall.foot_s - 1270.0) < 20.0


def humped(peak_g_s: float, lasting_s: float, at_s: float = 1300.0) -> NDArray[np.float64]:
    """A hump in the tail, of so many grams a second."""
    hump = np.where(np.abs(seconds(2000) - at_s) < lasting_s / 2, peak_g_s, 0.0)
    return np.maximum(rates(2000), hump)


@pytest.mark.parametrize(("peak_share", "lasting_s"), [(0.9, 50.0), (3.0, 50.0), (3.0, 140.0)])
def test_a_hand_at_the_load_cell_is_no_fire_come_back(peak_share: float, lasting_s: float) -> None:
    fall = final_fall(humped(peak_share * LEVEL_G_S, lasting_s), LIT_S, ())
    assert fall is not None
    assert abs(fall.foot_s - (FALL_S + 60.0)) < 15.0


def test_a_hump_that_the_records_end_cuts_off_is_no_fire_come_back() -> None:
    fall = final_fall(humped(0.9 * LEVEL_G_S, 100.0, at_s=2000.0), LIT_S, ())
    assert fall is not None
    assert abs(fall.foot_s - (FALL_S + 60.0)) < 15.0
    longer = final_fall(humped(0.9 * LEVEL_G_S, 300.0, at_s=2000.0), LIT_S, ())
    assert longer is None


def test_a_fire_that_comes_back_to_stay_counts() -> None:
    fall = final_fall(humped(0.9 * LEVEL_G_S, 200.0), LIT_S, ())
    assert fall is not None
    assert fall.half_s > 1390.0


def test_what_was_fed_may_flare_up_shortly() -> None:
    rate = humped(0.9 * LEVEL_G_S, 50.0)
    fall = final_fall(rate, LIT_S, (1270.0,))
    assert fall is not None
    assert fall.half_s > 1300.0


def test_fuel_thrown_on_char_burns_as_a_fire_of_its_own_however_low() -> None:
    # A quarter of the earlier level, for ten minutes.
    low = np.where((seconds(2400) > 1300.0) & (seconds(2400) < 1900.0), 0.25 * LEVEL_G_S, 0.0)
    fall = final_fall(np.maximum(rates(2400), low), LIT_S, [1250.0])
    assert fall is not None
    assert abs(fall.foot_s - 1900.0) < 20.0
    # What was only laid on does not glow for longer: the fire was out.
    brief = np.where((seconds(2400) > 1300.0) & (seconds(2400) < 1400.0), 0.25 * LEVEL_G_S, 0.0)
    fall = final_fall(np.maximum(rates(2400), brief), LIT_S, [1250.0])
    assert fall is not None
    assert abs(fall.foot_s - (FALL_S + 60.0)) < 15.0


def test_gusts_pass_neither_for_a_fire_nor_for_its_end() -> None:
    """A wind that pushes the pan to and fro, slowly: the rate swings by half of flaming, and says so."""
    swings = 0.5 * LEVEL_G_S * np.sin(seconds(2400) / 17.0)
    rate, u_rate = rates(2400) + swings, np.full(2400, 0.35 * LEVEL_G_S)
    fall = final_fall(rate, LIT_S, (), u_rate)
    assert fall is not None
    assert abs(fall.foot_s - (FALL_S + 60.0)) < 120.0
    assert fall.blurred_s > 10.0
    calm = final_fall(rates(2400), LIT_S, (), np.full(2400, 0.02 * LEVEL_G_S))
    assert calm is not None
    assert calm.blurred_s == 0.0


@pytest.mark.parametrize(("burnt_g", "told"), [(2.5, False), (8.0, True)])
def test_a_load_cell_that_settles_by_some_grams_has_burnt_nothing(burnt_g: float, told: bool) -> None:
    rate = np.where((seconds(600) > 100.0) & (seconds(600) < 200.0), burnt_g / 100.0, 0.0)
    assert (final_fall(rate, 100.0, ()) is not None) is told


def test_lifting_a_pot_whose_steam_nobody_knew_is_not_the_foot_of_the_fall() -> None:
    # The fire dies at 960 s; the pot goes on steaming a quarter of the loss until it is lifted three minutes later.
    steam = 0.05 * np.clip((seconds(1500) - 200.0) / 300.0, 0.0, 1.0) * (seconds(1500) < 1140.0)
    fall = final_fall(rates(seed=3) + steam, LIT_S, (), None, 1140.0)
    assert fall is not None
    assert abs(fall.foot_s - (FALL_S + 60.0)) < 15.0
    # A pot that is lifted from a fire ends nothing.
    early = final_fall(rates(seed=3), LIT_S, (), None, 600.0)
    assert early == final_fall(rates(seed=3), LIT_S, ())


def test_a_small_fire_on_bright_char_ends_where_its_own_rate_falls() -> None:
    # A large fire, its char, and a handful that burns at a third of the rate and but two and a half times the char's.
    t = np.arange(3600.0)
    rate = np.interp(
        t, [0, 60, 900, 960, 1500, 1560, 2400, 2460, 3600], [0, 0.23, 0.23, 0.027, 0.027, 0.07, 0.07, 0.028, 0.025]
    )
    fall = final_fall(rate + np.random.default_rng(0).normal(0.0, 0.002, 3600), 30.0, [1500.0])
    assert fall is not None
    assert 2400.0 <= fall.half_s <= fall.foot_s <= 2480.0
    assert fall.flaming_g_s == pytest.approx(0.07, rel=0.05)
    assert fall.tail_g_s == pytest.approx(0.027, rel=0.1)


def test_fuel_that_does_not_catch_on_char_starts_no_second_fire() -> None:
    t = np.arange(3600.0)
    rate = np.interp(t, [0, 60, 900, 960, 3600], [0, 0.23, 0.23, 0.03, 0.025])
    fall = final_fall(rate + np.random.default_rng(0).normal(0.0, 0.002, 3600), 30.0, [1500.0])
    assert fall is not None
    assert 900.0 <= fall.half_s <= fall.foot_s <= 980.0


def test_a_low_flame_that_dies_away_over_minutes_ends_half_way_down() -> None:
    t = np.arange(2600.0)
    rate = np.interp(t, [0, 60, 1100, 1180, 1700, 2050, 2600], [0, 0.16, 0.16, 0.068, 0.062, 0.014, 0.012])
    fall = final_fall(rate + np.random.default_rng(0).normal(0.0, 0.002, 2600), 30.0, [])
    assert fall is not None
    assert 1800.0 <= fall.half_s <= fall.foot_s <= 2060.0
