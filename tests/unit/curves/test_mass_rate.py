import numpy as np
import pytest

from emberline.curves.mass_rate import (
    FIVE_POINT_NOISE_GAIN,
    MassRateError,
    block_means,
    five_point_rate,
    rate_10_90,
    window_10_90,
)


@pytest.mark.parametrize("n", [5, 6, 9, 40])
def test_five_point_rule_is_exact_up_to_the_fourth_order(n: int) -> None:
    curve = np.polynomial.Polynomial([500.0, -0.9, -0.02, 3e-4, -2e-6])
    t_s = 5.0 * np.arange(n)
    slope = curve.deriv()(t_s)
    assert isinstance(slope, np.ndarray)
    np.testing.assert_allclose(five_point_rate(np.asarray(curve(t_s)), 5.0), -slope, rtol=1e-9)


def test_five_point_noise_gain_holds_for_white_noise() -> None:
    noise = np.random.default_rng(20261125).normal(0.0, 0.1, 200_000)
    rate = five_point_rate(noise, 5.0)[2:-2]
    assert np.std(rate) == pytest.approx(FIVE_POINT_NOISE_GAIN * 0.1 / 5.0, rel=0.01)


def test_five_point_rule_spreads_an_unknown_mass_no_further_than_its_reach() -> None:
    mass_g = np.linspace(500.0, 400.0, 21)
    mass_g[10] = np.nan
    rate = five_point_rate(mass_g, 5.0)
    # The middle mass has no weight in its own rate, but has in those of its four neighbours.
    assert list(np.flatnonzero(np.isnan(rate))) == [8, 9, 11, 12]


@pytest.mark.parametrize(("mass_g", "dt_s"), [(np.ones(4), 5.0), (np.ones((5, 2)), 5.0), (np.ones(9), 0.0)])
def test_five_point_rule_refuses_what_it_cannot_use(mass_g: np.ndarray, dt_s: float) -> None:
    with pytest.raises(MassRateError):
        five_point_rate(mass_g, dt_s)


def test_block_means_drop_the_rest_and_sparse_blocks() -> None:
    values = np.array([1.0, 3.0, np.nan, np.nan, np.nan, 4.0, 5.0, np.nan, 6.0, 9.0, 9.0])
    np.testing.assert_array_equal(block_means(values, 3), [2.0, np.nan, 5.5])


def test_10_90_rate_ignores_ragged_ends() -> None:
    t_s = np.arange(0.0, 601.0)
    mass_g = np.interp(t_s, [0, 100, 140, 460, 500, 600], [400, 399, 390, 310, 301, 300])
    start_s, end_s = window_10_90(t_s, mass_g)
    assert (start_s, end_s) == pytest.approx((140.0, 460.0))
    assert rate_10_90(t_s, mass_g) == pytest.approx(80.0 / 320.0)


def test_10_90_moments_are_steady_under_noise() -> None:
    rng = np.random.default_rng(7)
    t_s = np.arange(0.0, 1000.0)
    rates = [rate_10_90(t_s, 400.0 - 0.2 * t_s + rng.normal(0.0, 0.5, 1000)) for _ in range(50)]
    assert np.mean(rates) == pytest.approx(0.2, rel=0.003)
    assert np.std(rates) < 0.002


def test_10_90_rate_leaves_out_unknown_masses() -> None:
    t_s = np.arange(0.0, 101.0)
    mass_g = 100.0 - 0.5 * t_s
    mass_g[[0, 50, 51, 100]] = np.nan
    assert rate_10_90(t_s, mass_g) == pytest.approx(0.5)


@pytest.mark.parametrize("mass_g", [np.full(50, 300.0), np.linspace(300.0, 310.0, 50), np.full(50, np.nan)])
def test_10_90_rate_refuses_a_mass_that_does_not_fall(mass_g: np.ndarray) -> None:
    with pytest.raises(MassRateError):
        rate_10_90(np.arange(50.0), mass_g)
