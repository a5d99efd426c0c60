from itertools import groupby

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import median_abs_deviation

from emberline.curves.robust import (
    STANDING_S,
    SlidingLines,
    between_codes,
    code_step,
    local_scale,
    mad_sd,
    median,
    profile,
    quantile,
    running_median,
    runs,
    white_noise_sd,
    without_spikes,
)

Array = NDArray[np.float64]


def with_gaps(n: int, seed: int, share: float = 0.2) -> Array:
    rng = np.random.default_rng(seed)
    values: Array = 700.0 - 0.15 * np.arange(n) + rng.normal(0.0, 0.4, n)
    values[rng.random(n) < share] = np.nan
    return values


@pytest.mark.parametrize("n", [1, 2, 3, 8, 15, 180, 181])
def test_median_and_quantile_agree_with_numpy(n: int) -> None:
    values = np.random.default_rng(n).normal(5.0, 2.0, n)
    assert median(values) == np.median(values)
    for share in (0.0, 0.1, 0.37, 0.5, 0.9, 1.0):
        assert quantile(values, share) == pytest.approx(float(np.quantile(values, share)), rel=1e-14)


def test_mad_agrees_with_scipy() -> None:
    values = np.random.default_rng(1).normal(5.0, 2.0, 501)
    values[::50] = np.nan
    # scipy takes 0.67449 to all its digits, the code 1.4826.
    expected = median_abs_deviation(values, scale="normal", nan_policy="omit")
    assert mad_sd(values) == pytest.approx(float(expected), rel=2e-5)
    assert mad_sd(np.full(4, np.nan)) == 0.0


def test_spikes_of_a_converter_go_and_steps_stay() -> None:
    rng = np.random.default_rng(2)
    values = np.where(np.arange(200) < 100, 640.0, 1452.0) + rng.normal(0.0, 0.1, 200)
    spoilt = values.copy()
    spikes = [20, 57, 130, 131, 190]
    spoilt[spikes] = [9000.0, -8388.0, 30.0, 30.0, 1470.0]
    cleaned = without_spikes(spoilt, floor=0.02)
    assert np.flatnonzero(np.isnan(cleaned)).tolist() == spikes
    kept = ~np.isnan(cleaned)
    np.testing.assert_array_equal(cleaned[kept], values[kept])


def test_spikes_beside_gaps_go_too() -> None:
    values = 700.0 - 0.2 * np.arange(120.0)
    values[40:70] = np.nan
    values[71] = 5000.0
    assert np.flatnonzero(np.isnan(without_spikes(values, floor=0.02))).tolist() == [*range(40, 70), 71]


@pytest.mark.parametrize("values", [np.linspace(0.0, 80.0, 60), 99.0 - 79.0 * np.exp(-np.arange(300.0) / 90.0)])
def test_a_smooth_curve_has_no_spikes(values: Array) -> None:
    np.testing.assert_array_equal(without_spikes(values, floor=0.02), values)


def test_too_few_values_are_left_alone() -> None:
    values = np.array([1.0, 900.0, np.nan, 1.0])
    np.testing.assert_array_equal(without_spikes(values), values)


def test_white_noise_is_told_from_the_curve_beneath_it() -> None:
    t = np.arange(2000.0)
    noise = np.random.default_rng(3).normal(0.0, 0.3, 2000)
    assert white_noise_sd(800.0 - 0.2 * t + 3e-5 * t**2 + noise) == pytest.approx(0.3, rel=0.08)
    assert white_noise_sd(np.arange(7.0)) == 0.0


def test_sliding_lines_agree_with_polyfit() -> None:
    values = with_gaps(400, 4)
    rng = np.random.default_rng(5)
    low = rng.integers(0, 380, 200)
    high = low + rng.integers(6, 60, 200)
    count, mean_t, mean_v, slope, sd = SlidingLines(values).window(low, high)
    for i in range(200):
        t = np.arange(low[i], min(high[i], 400))
        t = t[np.isfinite(values[t])]
        assert count[i] == len(t)
        if len(t) < 3:
            assert np.isnan(slope[i])
            continue
        fit, residual, *_ = np.polyfit(t, values[t], 1, full=True)
        assert slope[i] == pytest.approx(fit[0], abs=1e-7)
        assert mean_t[i] == pytest.approx(np.mean(t))
        assert mean_v[i] == pytest.approx(np.polyval(fit, np.mean(t)), abs=1e-7)
        expected = np.sqrt((residual[0] if len(residual) else 0.0) / max(len(t) - 2, 1))
        assert sd[i] == pytest.approx(expected, abs=1e-3)


def test_sliding_lines_are_clipped_to_the_curve() -> None:
    lines = SlidingLines(10.0 + 2.0 * np.arange(20.0))
    count, _, _, slope, _ = lines.window(np.array([-30, 15, 19, 50]), np.array([5, 90, 20, 60]))
    assert count.tolist() == [5.0, 5.0, 1.0, 0.0]
    np.testing.assert_allclose(slope, [2.0, 2.0, np.nan, np.nan])


def test_sliding_lines_of_nothing_are_not_a_number() -> None:
    *_, slope, _ = SlidingLines(np.full(30, np.nan)).window(np.array([0]), np.array([30]))
    assert np.isnan(slope).all()


def test_a_staircase_tells_the_moments_of_its_steps() -> None:
    # A balance that shows whole grams while 9 g burn a minute.
    true = 700.4 - 0.15 * np.arange(600.0)
    kept = between_codes(np.round(true))
    known = np.flatnonzero(np.isfinite(kept))
    assert 80 < len(known) < 120
    # Between its ends it is right to the burn of a second.
    np.testing.assert_allclose(kept[known[1:-1]], true[known[1:-1]], atol=0.16)


def test_a_code_that_stands_for_long_keeps_a_reading() -> None:
    codes = np.repeat([20.0, 19.0], [int(4 * STANDING_S), int(STANDING_S / 2)])
    kept = between_codes(codes)
    assert np.flatnonzero(np.isfinite(kept)).tolist() == [0, 2 * STANDING_S, 4 * STANDING_S, len(codes) - 1]
    assert kept[2 * STANDING_S] == 20.0
    assert kept[4 * STANDING_S] == 19.5


@pytest.mark.parametrize("code_g", [0.01, 0.1])
def test_noise_that_moves_between_codes_tells_more_than_the_codes(code_g: float) -> None:
    noisy = 700.0 - 0.15 * np.arange(600.0) + np.random.default_rng(11).normal(0.0, 0.1, 600)
    values = np.round(noisy / code_g) * code_g
    np.testing.assert_array_equal(between_codes(values), values)


def test_next_to_nothing_has_no_codes() -> None:
    for values in (np.zeros(0), np.full(30, np.nan), np.array([1.0, 2.0, 3.0])):
        np.testing.assert_array_equal(between_codes(values), values)
        assert code_step(values) == 0.0


@pytest.mark.parametrize("code_g", [0.25, 1.0, 5.0])
def test_the_step_of_the_codes_is_read_off(code_g: float) -> None:
    values = np.round((700.0 - 0.15 * np.arange(600.0)) / code_g) * code_g
    values[::7] = np.nan
    assert code_step(values) == pytest.approx(code_g)


def test_local_scale_follows_a_noise_that_grows() -> None:
    rng = np.random.default_rng(6)
    sd = np.where(np.arange(1200) < 600, 0.2, 1.5)
    scale = local_scale(rng.normal(0.0, 1.0, 1200) * sd, half_width=90, step=15)
    assert np.median(scale[:450]) == pytest.approx(0.2, rel=0.15)
    assert np.median(scale[750:]) == pytest.approx(1.5, rel=0.15)


def test_local_scale_agrees_with_a_median_a_window_at_a_time() -> None:
    values = with_gaps(500, 7) - 700.0
    scale = local_scale(values, half_width=60, step=20)
    for k in range(0, 500, 20):
        window = np.abs(values[max(0, k - 60) : k + 60])
        assert scale[k] == pytest.approx(1.4826 * np.nanmedian(window))


def test_local_scale_of_nothing_is_not_a_number() -> None:
    assert np.isnan(local_scale(np.full(100, np.nan))).all()
    assert len(local_scale(np.zeros(0))) == 0


def test_running_median_agrees_with_a_median_a_window_at_a_time() -> None:
    values = np.random.default_rng(6).normal(0.0, 1.0, 60)
    found = running_median(values, 7)
    for at in range(7, 53):
        assert found[at] == float(np.median(values[at - 7 : at + 8]))
    assert len(running_median(values[:3], 7)) == 3
    assert len(running_median(values[:0], 7)) == 0


def test_profile_agrees_with_least_squares_candidate_by_candidate() -> None:
    rng = np.random.default_rng(8)
    t = np.arange(90.0)
    values = 99.0 - 0.2 * np.maximum(55.0 - t, 0.0) + rng.normal(0.0, 0.1, 90)
    knees = np.arange(20.0, 80.0)
    rows = np.stack([np.stack([np.ones(90), np.maximum(k - t, 0), np.maximum(k - t, 0) ** 2]) for k in knees])
    cost, coefficients, residual = profile(rows, values)
    for i, design in enumerate(np.swapaxes(rows, 1, 2)):
        expected, squares, *_ = np.linalg.lstsq(design, values, rcond=None)
        np.testing.assert_allclose(coefficients[i], expected, rtol=1e-3, atol=1e-5)
        np.testing.assert_allclose(residual[i], values - design @ expected, atol=1e-5)
        assert cost[i] == pytest.approx(squares[0], rel=1e-6)
    assert abs(knees[np.argmin(cost)] - 55.0) <= 1.0


def test_profile_stands_courses_that_coincide() -> None:
    t = np.arange(30.0)
    rows = np.stack((np.stack((np.ones(30), np.ones(30))), np.stack((np.ones(30), t))))
    cost, _, _ = profile(rows, 3.0 + 0.5 * t)
    assert np.isfinite(cost).all()
    assert np.argmin(cost) == 1


@pytest.mark.parametrize("seed", range(5))
def test_runs_agree_with_groupby(seed: int) -> None:
    mask = np.random.default_rng(seed).random(60) < 0.6
    expected, at = [], 0
    for value, group in groupby(mask.tolist()):
        length = len(list(group))
        if value:
            expected.append((at, at + length))
        at += length
    assert runs(mask) == expected


def test_runs_of_nothing() -> None:
    assert runs(np.zeros(0, dtype=np.bool_)) == []
    assert runs(np.ones(3, dtype=np.bool_)) == [(0, 3)]
