"""The last fall of a flame probe, on flames whose end is known."""

import numpy as np
import pytest

from column_fixture import column
from emberline.curves.flame_probe import flame_drop
from two_regimes_fixture import LEVEL_G_S, LIT_S, correlated, probe, rates


def test_a_drop_tells_flame_from_glow_by_its_flicker() -> None:
    drop = flame_drop(probe(), LIT_S, None, 4.0)
    assert drop is not None
    assert drop.hot_c == pytest.approx(600.0, abs=40.0)
    assert drop.after_c == pytest.approx(430.0, abs=20.0)
    assert drop.flicker_k > 4.0 * drop.calm_k


def test_a_fall_that_the_rate_forbids_is_only_a_weakening_flame() -> None:
    flame = probe(ends_s=900.0)
    rate = rates()
    share = rate / LEVEL_G_S
    alone, together = flame_drop(flame, LIT_S, None, 4.0), flame_drop(flame, LIT_S, share, 4.0)
    assert alone is not None
    assert together is not None
    assert together.t_s >= alone.t_s


@pytest.mark.parametrize("n", [1200, 3000, 8000])
def test_a_long_afterglow_changes_nothing(n: int) -> None:
    drop = flame_drop(probe(n), LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 950.0) < 6.0
    assert drop.hot_c == pytest.approx(600.0, abs=40.0)


@pytest.mark.parametrize("lag_s", [2.0, 8.0, 25.0])
def test_the_stated_uncertainty_covers_what_happens(lag_s: float) -> None:
    off, u_s = [], []
    for seed in range(40):
        drop = flame_drop(probe(lag_s=lag_s, seed=100 + 2 * seed), LIT_S, None, lag_s)
        assert drop is not None
        off.append(drop.t_s - 950.0)
        u_s.append(drop.u_s)
    assert np.median(np.abs(off)) < 5.0
    assert np.mean(np.abs(off) < 1.96 * np.array(u_s)) >= 0.9


@pytest.mark.parametrize("lag_s", [4.9, 12.6, 30.0])
def test_a_deep_fall_of_a_probe_of_any_lag_is_dated_at_its_beginning(lag_s: float) -> None:
    """The flame's last flicker is plain to see; a lag that is none of the few tried first makes it no later."""
    off = []
    for seed in range(20):
        drop = flame_drop(probe(after_c=180.0, lag_s=lag_s, seed=300 + 2 * seed), LIT_S, None, 4.0)
        assert drop is not None
        off.append(drop.t_s - 950.0)
    assert abs(float(np.mean(off))) < 1.5
    assert float(np.quantile(np.abs(off), 0.9)) < 5.0


def test_a_sag_that_follows_the_rate_is_still_flame() -> None:
    """The flame cools as the fuel's gas thins, for a minute and a half, and only then goes out."""
    share = rates(falls_over_s=150.0) / LEVEL_G_S
    flame = probe(ends_s=1030.0, after_c=300.0)
    t = np.arange(1500) + 0.5
    flame.value[:] -= np.where(t < 1030.0, 200.0 * np.clip(1.0 - share, 0.0, 1.0) * (t > 300.0), 0.0)
    drop = flame_drop(flame, LIT_S, share, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 1030.0) < 15.0


def test_an_afterglow_that_flickers_as_the_flame_did_is_none() -> None:
    rng = np.random.default_rng(4)
    flame = probe(after_c=520.0)
    flame.value[960:] += rng.normal(0.0, 60.0, 540)
    assert flame_drop(flame, LIT_S, None, 4.0) is None


def test_a_flame_that_dwindles_ends_where_it_stops_flickering() -> None:
    """Over four minutes it sinks almost to the glow, flickering on, and drops the little that is left."""
    flame = probe(1800, ends_s=1100.0, after_c=300.0)
    t = np.arange(1800) + 0.5
    flame.value[:] -= np.where(t < 1100.0, 220.0 * np.clip((t - 860.0) / 240.0, 0.0, 1.0), 0.0)
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 1100.0) < 10.0


def test_char_that_glows_as_hot_as_the_last_flames_hides_no_end() -> None:
    flame = probe(ends_s=950.0, after_c=600.0)
    t = np.arange(1500) + 0.5
    flame.value[:] -= np.interp(t, [700.0, 930.0, 960.0, 1500.0], [0.0, 170.0, 170.0, 200.0])
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 950.0) < 10.0


@pytest.mark.parametrize("smothered_s", [1020.0, 1200.0])
def test_smothered_char_is_not_the_end_of_the_flame(smothered_s: float) -> None:
    flame = probe(1800, ends_s=950.0, after_c=430.0)
    since = np.maximum(np.arange(1800) + 0.5 - smothered_s, 0.0)
    flame.value[:] -= 350.0 * (1.0 - np.exp(-since / 15.0))
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 950.0) < 10.0


def test_flames_that_come_back_after_a_calm_end_where_they_end_then() -> None:
    flame = probe(1800, ends_s=950.0, after_c=300.0)
    t = np.arange(1800) + 0.5
    back = (t > 1060.0) & (t < 1110.0)
    flame.value[back] += 160.0 + np.random.default_rng(3).normal(0.0, 40.0, int(back.sum()))
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 1110.0) < 10.0


def test_a_flame_that_came_back_from_a_cold_afterglow_is_looked_at_by_itself() -> None:
    # It burns lower than the first, for two minutes, and ends over char that later glows up.
    t = np.arange(1800) + 0.5
    moments, levels = (
        [0, 60, 90, 880, 900, 960, 990, 1080, 1100, 1150, 1180],
        [10, 10, 600, 560, 120, 110, 340, 350, 115, 115, 185],
    )
    burns = ((t > 60.0) & (t < 890.0)) | ((t > 965.0) & (t < 1085.0))
    news = np.random.default_rng(3).normal(0.0, 1.0, 1800)
    drop = flame_drop(column(np.interp(t, moments, levels) + np.where(burns, 25.0, 1.0) * news), LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 1083.0) < 12.0


@pytest.mark.parametrize("loose", [(930, 1020), (1400, 1490), (500, 560)])
def test_a_lead_that_comes_loose_for_a_minute_and_a_half_moves_no_end(loose: tuple[int, int]) -> None:
    flame = probe(2400, ends_s=950.0, after_c=360.0)
    flame.value[slice(*loose)] = 27.0 + 0.25 * (np.arange(loose[1] - loose[0]) % 2)
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    # Where the end itself was not seen, it lies somewhere in what is missing.
    hidden = loose[0] <= 950.0 < loose[1]
    assert abs(drop.t_s - 950.0) < (75.0 if hidden else 8.0)


def test_char_that_glows_up_far_from_any_flame_does_not_hide_the_end() -> None:
    # The glow passes half-way back from the lowest to the flame within ten minutes, calm all the time, and sinks.
    flame = probe(2200, after_c=180.0)
    t = np.arange(2200.0)
    flame.value[:] += np.interp(t, (1100.0, 1900.0, 2200.0), (0.0, 260.0, 200.0))
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    assert drop.t_s == pytest.approx(950.0, abs=10.0)


def test_char_that_glows_up_again_and_is_smothered_is_not_the_end_of_the_flame() -> None:
    # A flame that dwindles over two minutes, char that then warms the probe again, and a lid; no end is sharp.
    t = np.arange(1600) + 0.5
    moments = [60, 90, 400, 420, 440, 460, 485, 505, 530, 550, 572, 640, 750, 920, 1105, 1122, 1166, 1254, 1400]
    levels = [6, 540, 600, 514, 459, 360, 282, 231, 206, 171, 156, 200, 260, 268, 258, 166, 116, 66, 30]
    flicker = np.where(t < 560.0, correlated(1600, 15.0, 3.0, 5), correlated(1600, 7.0, 3.0, 6))
    flame = column(np.interp(t, moments, levels) + np.where(t > 60.0, flicker, 0.0))
    share = np.interp(t, [60.0, 150.0, 400.0, 520.0, 1100.0, 1130.0], [0.0, 1.0, 1.0, 0.14, 0.14, 0.01])
    drop = flame_drop(flame, LIT_S, share, 4.0)
    assert drop is not None
    assert drop.t_s < 620.0


@pytest.mark.parametrize(("after_s", "within_s"), [(45.0, 3.0), (45.0, 20.0), (70.0, 6.0)])
def test_char_that_is_smothered_at_once_is_not_the_end_of_the_flame(after_s: float, within_s: float) -> None:
    flame = probe(1800, ends_s=950.0, after_c=430.0)
    since = np.maximum(np.arange(1800) + 0.5 - 950.0 - after_s, 0.0)
    flame.value[:] -= 340.0 * (1.0 - np.exp(-since / within_s))
    drop = flame_drop(flame, LIT_S, None, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 950.0) < 10.0


@pytest.mark.parametrize("seed", [17, 27])
@pytest.mark.parametrize("low_c", [240.0, 300.0])
def test_a_flame_that_dwindles_on_little_fuel_ends_where_its_flicker_stops(low_c: float, seed: int) -> None:
    # Ten minutes of low flame, a tenth of what was lost before; then it is out, and its glow is calm.
    t = np.arange(2400) + 0.5
    moments = [60, 90, 900, 1100, 1700, 1706, 2400]
    levels = np.interp(t, moments, [18, 600, 600, 380, low_c, low_c - 100, low_c - 110])
    flicker = np.where(t < 1700.0, correlated(2400, 22.0, 3.0, seed), correlated(2400, 2.5, 3.0, seed + 1))
    share = np.interp(t, [60.0, 150.0, 900.0, 1100.0, 2400.0], [0.0, 1.0, 1.0, 0.1, 0.08])
    drop = flame_drop(column(levels + np.where(t > 60.0, flicker, 0.0)), LIT_S, share, 4.0)
    assert drop is not None
    assert abs(drop.t_s - 1700.0) < 10.0
