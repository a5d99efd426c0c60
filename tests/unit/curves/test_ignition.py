"""Lighting on curves of which it is known."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from column_fixture import column, seconds
from emberline.curves.burning_rate import noise_of
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column
from emberline.curves.ignition import (
    Onset,
    begun_mid_burn,
    dated_by_both,
    find_lit,
    flame_onset,
    kindled_by_little,
    loss_trigger,
    mass_onset,
)

Array = NDArray[np.float64]
LIT_S = 100.0


def mass(
    n: int = 600,
    *,
    lit_s: float = LIT_S,
    takes_s: float = 120.0,
    drift_g_s: float = 0.0,
    noise_g: float = 0.05,
    seed: int = 1,
) -> Array:
    """A level that drifts, and from the match on a loss that takes some time to grow to 9 g/min, evenly."""
    since = np.maximum(seconds(n) - lit_s, 0.0)
    loss = np.where(since < takes_s, since**2 / (2.0 * takes_s), since - takes_s / 2.0)
    return 900.0 - drift_g_s * seconds(n) - 0.15 * loss + np.random.default_rng(seed).normal(0.0, noise_g, n)


def flame(n: int = 600, *, lit_s: float = LIT_S, lag_s: float = 5.0, noise_k: float = 0.5, seed: int = 2) -> Column:
    """A probe in 18 degrees of air that a flame of 650 degrees reaches at the match."""
    since = np.maximum(seconds(n) - lit_s, 0.0)
    rng = np.random.default_rng(seed)
    return column(18.0 + 632.0 * (1.0 - np.exp(-since / lag_s)) + rng.normal(0.0, noise_k, n))


def lit(masses_g: Array | None, probe: Column | None, lag_s: float = 5.0) -> Event | None:
    if masses_g is None:
        assert probe is not None
        masses_g = np.full(len(probe), np.nan)
    return find_lit(masses_g, noise_of(masses_g), probe, flame_lag_s=lag_s)


@pytest.mark.parametrize("lag_s", [1.0, 5.0, 34.0])
def test_a_flame_probe_tells_the_match_to_some_seconds(lag_s: float) -> None:
    onset = flame_onset(flame(lag_s=lag_s), lag_s)
    assert onset is not None
    assert abs(onset.t_s - LIT_S) < max(2.0, 2.0 * onset.u_s)
    assert onset.u_s < 12.0


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("noise_g", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("takes_s", [60.0, 120.0, 240.0])
def test_the_load_cell_alone_tells_it_within_what_it_states(takes_s: float, noise_g: float, seed: int) -> None:
    # Ignition to full pyrolysis takes 1 to 4 min in top-lit stoves (common practice, no source).
    masses_g = mass(900, takes_s=takes_s, noise_g=noise_g, seed=seed)
    onset = mass_onset(masses_g, noise_of(masses_g))
    assert onset is not None
    assert abs(onset.t_s - LIT_S) < 3.0 * onset.u_s
    # A minute at most for what is too little to be seen, and what the scatter leaves open.
    assert onset.u_s < 65.0


def test_gusts_that_last_for_twenty_seconds_leave_a_load_cells_onset_as_sure_as_it_states() -> None:
    outside = 0
    for seed in range(24):
        gusts = lfilter([1.0], [1.0, -0.95], np.random.default_rng(seed).normal(0.0, 1.0, 900))
        onset = mass_onset(mass(900, takes_s=60.0, noise_g=0.02) + gusts / gusts.std(), np.ones(900))
        assert onset is not None
        outside += abs(onset.t_s - LIT_S) > 1.96 * onset.u_s
    assert outside <= 2


def test_the_load_cell_is_believed_within_a_minute_or_so() -> None:
    masses_g = mass()
    seen = loss_trigger(masses_g, noise_of(masses_g))
    assert seen is not None
    assert LIT_S + 20 < seen[0] < LIT_S + 90


@pytest.mark.parametrize("seed", range(4))
def test_a_weak_fire_in_wind_is_found_over_minutes(seed: int) -> None:
    # Gusts of 3 g on a loss of 6 g/min: nothing of it is seen in half a minute.
    rng = np.random.default_rng(seed)
    since = np.maximum(seconds(900) - LIT_S, 0.0)
    masses_g = 240.0 - 0.1 * since + rng.normal(0.0, 3.0, 900)
    found = lit(masses_g, None)
    assert found is not None
    assert abs(found.t_s - LIT_S) < 3.0 * found.u_s
    assert found.u_s < 80.0


@pytest.mark.parametrize("seed", range(4))
def test_a_record_begun_in_the_burn_has_no_match(seed: int) -> None:
    masses_g = 600.0 - 0.2 * seconds(900) + np.random.default_rng(seed).normal(0.0, 0.8, 900)
    assert lit(masses_g, None) is None


@pytest.mark.parametrize("drift_g_s", [0.004, -0.004])
def test_a_cell_that_warms_is_not_lit(drift_g_s: float) -> None:
    # 0.24 g/min: four times what a cell of 5 kg drifts when it warms by 10 K in ten minutes (0.05 % of capacity).
    masses_g = 900.0 - drift_g_s * seconds(1200) + np.random.default_rng(3).normal(0.0, 0.05, 1200)
    assert loss_trigger(masses_g, noise_of(masses_g)) is None
    assert lit(masses_g, None) is None


def test_a_match_is_found_on_a_drift() -> None:
    found = lit(mass(drift_g_s=0.004), None)
    assert found is not None
    assert abs(found.t_s - LIT_S) < max(10.0, 3.0 * found.u_s)


def test_a_gust_is_not_lit() -> None:
    masses_g = mass(lit_s=1e9)
    masses_g[200:215] -= 8.0
    assert lit(masses_g, None) is None


@pytest.mark.parametrize("seed", range(4))
def test_wind_is_not_lit(seed: int) -> None:
    rng = np.random.default_rng(seed)
    push = np.zeros(1200)
    for i in range(1, 1200):
        push[i] = 0.8 * push[i - 1] + rng.normal(0.0, 1.2)
    assert lit(900.0 + push, None) is None


@pytest.mark.parametrize(("settles_by_g", "told"), [(2.5, False), (8.0, True)])
def test_a_cell_that_settles_after_a_gust_is_not_lit(settles_by_g: float, told: bool) -> None:
    since = np.maximum(seconds(900) - 200.0, 0.0)
    settled = 900.0 - settles_by_g * np.minimum(since / 90.0, 1.0) + np.random.default_rng(6).normal(0.0, 0.05, 900)
    assert (lit(settled, None) is not None) is told


def test_a_lighter_held_to_the_probe_is_not_lit() -> None:
    probe = flame(lit_s=1e9)
    probe.value[50:55] += 300.0
    assert flame_onset(probe, 1.0) is None


def test_sunshine_is_not_lit() -> None:
    probe = column(18.0 + 30.0 * np.clip((seconds(900) - 200.0) / 120.0, 0.0, 1.0))
    assert flame_onset(probe, 5.0) is None


def test_a_probe_that_agrees_with_the_load_cell_dates_the_match() -> None:
    both = dated_by_both(Onset(61.0, 2.0, "flame"), Onset(60.0, 10.0, "mass"))
    assert both.t_s == pytest.approx(61.0, abs=0.6)
    assert 2.0 <= both.u_s < 3.5


def test_a_flame_that_reaches_its_probe_late_leaves_the_match_to_the_load_cell() -> None:
    both = dated_by_both(Onset(200.0, 5.0, "flame"), Onset(179.0, 5.0, "mass"))
    # By hand: 0.9 * 0.15 * 2 (60 - 21) / 60^2 = 0.0029 against 0.9 * 0.85 N(21; 0, 7.1) = 0.0005 and 0.85 * 0.1 / 240
    # = 0.0004 of an onset that is none: a share of 0.77 for late.
    assert both.t_s == pytest.approx(200.0 - 0.77 * 20.5, abs=0.8)
    assert both.u_s == pytest.approx((0.77 * 5.0**2 + 0.77 * 0.23 * 20.5**2) ** 0.5, abs=1.0)
    assert both.evidence == "flame; mass"


def test_a_load_cells_onset_long_before_a_flame_that_comes_at_once_may_be_none() -> None:
    # A drift or a gust looks like an onset as often as a flame takes nearly a minute to reach its probe.
    both = dated_by_both(Onset(112.0, 1.0, "flame"), Onset(60.0, 4.0, "mass"))
    assert 60.0 + 5.0 < both.t_s < 112.0 - 5.0
    assert abs(both.t_s - 112.0) < 1.96 * both.u_s


def test_a_load_cell_alone_leaves_room_for_kindling_too_light_for_it() -> None:
    # 0.15 of a triangle over 60 s, whose mean is 20 s and whose second moment is 60^2 / 6 s^2.
    alone = kindled_by_little(Onset(160.0, 4.0, "mass"))
    assert alone.t_s == pytest.approx(160.0 - 0.15 * 20.0)
    assert alone.u_s == pytest.approx((4.0**2 + 0.15 * 600.0 - 3.0**2) ** 0.5)


def test_witnesses_that_half_disagree_leave_doubt() -> None:
    # By hand: 0.85 (0.9 N(24; 0, 12.2) + 0.1 / 240) = 0.0040 against 0.9 * 0.15 * 2 (60 - 24) / 60^2 = 0.0027: a share
    # of 0.41 for late, by 24 s less 12^2 / (60 - 24) s, since the shorter delay is the likelier.
    both = dated_by_both(Onset(54.0, 2.0, "flame"), Onset(30.0, 12.0, "mass"))
    assert both.t_s == pytest.approx(54.0 - 0.41 * 20.0, abs=1.0)
    assert 10.0 < both.u_s < 16.0


def test_a_loss_seen_after_the_flame_says_little() -> None:
    probe = Onset(60.0, 2.0, "flame")
    both = dated_by_both(probe, Onset(75.0, 5.0, "mass"))
    assert both.t_s == pytest.approx(60.0, abs=1.0)
    assert both.u_s < dated_by_both(probe, None).u_s


def test_with_both_the_probe_dates_it() -> None:
    found = lit(mass(lit_s=LIT_S + 8.0), flame())
    assert found is not None
    assert found.kind is EventKind.LIT
    assert abs(found.t_s - LIT_S) < 3.0
    assert "flame probe" in found.evidence


def test_a_probe_warmed_long_before_is_overruled_by_the_load() -> None:
    found = lit(mass(1800, lit_s=1200.0), flame(1800, lit_s=200.0))
    assert found is not None
    assert abs(found.t_s - 1200.0) < 15.0
    assert "mass" in found.evidence


def test_a_probe_that_stays_cold_outvotes_a_slow_loss() -> None:
    # Water spilt on the stove dries away; nothing burns.
    assert lit(mass(), column(np.full(600, 18.0))) is None
    assert lit(mass(), None) is not None


def test_a_probe_that_stays_cold_says_that_no_record_began_mid_burn() -> None:
    # A gust leaves the cell, which settles: with a cold probe beside it that is no fire.
    settles = mass(lit_s=-300.0)
    assert begun_mid_burn(settles, noise_of(settles), None)
    assert not begun_mid_burn(settles, noise_of(settles), column(np.full(600, 18.0)))
    assert begun_mid_burn(settles, noise_of(settles), flame(lit_s=-300.0))


def test_a_probe_that_reads_nothing_has_no_vote() -> None:
    found = lit(mass(), column(np.full(600, np.nan)))
    assert found is not None
    assert "mass" in found.evidence


@pytest.mark.parametrize("seed", range(4))
def test_a_record_that_began_mid_burn_has_no_lighting(seed: int) -> None:
    assert lit(mass(lit_s=-300.0, seed=seed), None) is None
    assert lit(None, flame(lit_s=-300.0, seed=seed)) is None


@pytest.mark.parametrize("spacing", [2, 5])
def test_a_slow_logger_tells_it_too(spacing: int) -> None:
    sparse = np.full(600, np.nan)
    sparse[::spacing] = mass()[::spacing]
    found = lit(sparse, None)
    assert found is not None
    assert abs(found.t_s - LIT_S) < max(12.0, 3.0 * found.u_s)


def test_a_gap_at_the_match_is_bridged_by_the_other_witness() -> None:
    masses_g = mass()
    masses_g[80:200] = np.nan
    found = lit(masses_g, flame())
    assert found is not None
    assert abs(found.t_s - LIT_S) < 3.0


@pytest.mark.parametrize("n", [0, 1, 7, 31])
def test_a_record_of_next_to_nothing_has_no_lighting(n: int) -> None:
    assert lit(np.full(n, 900.0), column(np.full(n, 18.0))) is None
    assert lit(np.full(n, np.nan), None) is None


def test_a_flame_probe_alone_leaves_room_for_a_flame_that_came_late() -> None:
    # 0.15 of a triangle over 60 s, whose mean is 20 s and whose second moment is 60^2 / 6 s^2.
    alone = dated_by_both(Onset(160.0, 2.0, "flame"), None)
    assert alone.t_s == pytest.approx(160.0 - 0.15 * 20.0, abs=0.2)
    assert alone.u_s == pytest.approx((0.85 * 2.0**2 + 0.15 * 600.0 - 3.0**2) ** 0.5, abs=0.1)


def test_a_small_flame_licks_at_the_probe_before_it_stays() -> None:
    probe = flame(lit_s=LIT_S + 40.0)
    licked = slice(int(LIT_S), int(LIT_S) + 40)
    probe.value[licked] += np.tile([40.0, 30.0, 5.0, 45.0], 10)
    onset = flame_onset(probe, 5.0)
    assert onset is not None
    assert abs(onset.t_s - LIT_S) < 3.0
    assert onset.u_s > 5.0


def starter_alone(n: int = 900, *, starter_g: float = 4.0, takes_s: float = 75.0, seed: int = 5) -> Array:
    """A level from which only the starter burns off, on a cell that drifts by 2 g an hour."""
    since = np.clip(seconds(n) - LIT_S, 0.0, takes_s)
    noise = np.random.default_rng(seed).normal(0.0, 0.05, n)
    return 700.0 - starter_g * since / takes_s - 2.0 * seconds(n) / 3600.0 + noise


def a_flame_that_dies(n: int = 900, *, burns_s: float = 90.0) -> Column:
    """A probe that the starter's flame reaches while it lasts."""
    burning = np.asarray(flame(n).value)
    since = np.maximum(seconds(n) - LIT_S - burns_s, 0.0)
    return column(18.0 + (burning - 18.0) * np.exp(-since / 8.0))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("with_probe", [False, True])
def test_a_starter_that_burns_off_and_leaves_the_fuel_cold_is_not_lit(seed: int, *, with_probe: bool) -> None:
    masses_g = starter_alone(seed=seed)
    noise_g, probe = noise_of(masses_g), a_flame_that_dies() if with_probe else None
    assert find_lit(masses_g, noise_g, probe, starter_g=4.0) is None
    assert not begun_mid_burn(masses_g, noise_g, probe, starter_g=4.0)


@pytest.mark.parametrize("with_probe", [False, True])
def test_fuel_that_burns_on_after_its_starter_is_lit(*, with_probe: bool) -> None:
    # 2 g/min of fuel: the weakest of fires.
    masses_g = starter_alone() - 2.0 / 60.0 * np.maximum(seconds(900) - LIT_S - 30.0, 0.0)
    found = find_lit(masses_g, noise_of(masses_g), flame(900) if with_probe else None, starter_g=4.0)
    assert found is not None
    assert abs(found.t_s - LIT_S) < 3.0 * found.u_s


def test_a_flame_is_believed_until_the_load_cell_had_time_to_contradict_it() -> None:
    masses_g = starter_alone(300)
    assert find_lit(masses_g, noise_of(masses_g), a_flame_that_dies(len(masses_g)), starter_g=4.0) is not None
