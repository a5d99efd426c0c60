"""The smoother against a dense Gaussian posterior, and on burns whose rate is known."""

from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.curves.burning_rate import (
    WANDER_CHOICES,
    filtered,
    log_likelihood,
    noise_of,
    smooth,
    smooth_again,
    smooth_onward,
    typical_rate,
)
from emberline.curves.robust import white_noise_sd

Array = NDArray[np.float64]


def wandering(n: int, q: float, noise_g: float, seed: int, rate_g_s: float = 0.15) -> tuple[Array, Array, Array]:
    """Return observed mass, true mass and true rate of a rate that wanders as the model says."""
    rng = np.random.default_rng(seed)
    # Exact step of the model over a second: rate change and what it takes off the mass are correlated.
    root = np.linalg.cholesky(q * np.array([[1.0 / 3.0, -0.5], [-0.5, 1.0]]))
    mass, rate = np.empty(n), np.empty(n)
    m, r = 600.0, rate_g_s
    for i in range(n):
        mass[i], rate[i] = m, r
        dm, dr = root @ rng.normal(size=2)
        m, r = m - r + dm, r + dr
    return mass + rng.normal(0.0, noise_g, n), mass, rate


class Posterior(NamedTuple):
    mean: Array
    sd: Array


def dense_posterior(masses_g: Array, noise_g: Array, q: float) -> Posterior:
    """Solve the whole model at once: the Gaussian posterior of all masses and rates by dense linear algebra.

    Independent of any recursion: prior, steps and observations are rows of one precision matrix.
    """
    n = len(masses_g)
    known = np.flatnonzero(np.isfinite(masses_g))
    precision, shift = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    prior = np.diag([1.0 / 100.0, 1.0 / 0.3**2])
    precision[:2, :2] += prior
    shift[:2] += prior @ [masses_g[known[0]], 0.0]
    step = np.linalg.inv(q * np.array([[1.0 / 3.0, -0.5], [-0.5, 1.0]]))
    onward = np.hstack((-np.array([[1.0, -1.0], [0.0, 1.0]]), np.eye(2)))
    for i in range(n - 1):
        precision[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += onward.T @ step @ onward
    for i in known.tolist():
        precision[2 * i, 2 * i] += noise_g[i] ** -2
        shift[2 * i] += masses_g[i] * noise_g[i] ** -2
    covariance = np.linalg.inv(precision)
    return Posterior((covariance @ shift).reshape(n, 2), np.sqrt(np.diag(covariance)).reshape(n, 2))


@pytest.mark.parametrize("gap", [(0, 0), (25, 45), (0, 7)])
def test_the_smoother_is_the_dense_posterior(gap: tuple[int, int]) -> None:
    q = 2e-5
    masses_g, _, _ = wandering(70, q, 0.1, seed=1)
    masses_g[gap[0] : gap[1]] = np.nan
    smoothed = smooth(masses_g, wander=q)
    expected = dense_posterior(masses_g, smoothed.noise_g, q)
    np.testing.assert_allclose(smoothed.mass_g, expected.mean[:, 0], atol=1e-5)
    np.testing.assert_allclose(smoothed.rate_g_s, expected.mean[:, 1], atol=1e-6)
    np.testing.assert_allclose(smoothed.u_mass_g, expected.sd[:, 0], rtol=1e-4)
    np.testing.assert_allclose(smoothed.u_rate_g_s, expected.sd[:, 1], rtol=1e-4)


def test_the_filter_is_the_dense_posterior_of_the_past() -> None:
    q = 2e-5
    masses_g, _, _ = wandering(60, q, 0.1, seed=2)
    live = filtered(masses_g, wander=q)
    for i in (0, 1, 9, 30, 59):
        expected = dense_posterior(masses_g[: i + 1], live.noise_g[: i + 1], q)
        assert live.mass_g[i] == pytest.approx(expected.mean[-1, 0], abs=1e-5)
        assert live.rate_g_s[i] == pytest.approx(expected.mean[-1, 1], abs=1e-6)
        assert live.u_rate_g_s[i] == pytest.approx(expected.sd[-1, 1], rel=1e-4)


def test_stated_uncertainties_cover_rates_that_wander() -> None:
    within, squared = [], []
    for seed in range(12):
        q = 4e-4 * 0.15**2
        masses_g, mass, rate = wandering(600, q, 0.15, seed=100 + seed)
        smoothed = smooth(masses_g, wander=q)
        departure = (smoothed.rate_g_s - rate) / smoothed.u_rate_g_s
        within.append(np.mean(np.abs(departure) < 1.96))
        squared.append(np.mean(((smoothed.mass_g - mass) / smoothed.u_mass_g) ** 2))
    assert np.mean(within) == pytest.approx(0.95, abs=0.03)
    assert np.mean(squared) == pytest.approx(1.0, abs=0.25)


def test_uncertainty_grows_across_a_gap() -> None:
    masses_g, _, rate = wandering(400, 1e-5, 0.1, seed=3)
    masses_g[150:250] = np.nan
    smoothed = smooth(masses_g, wander=1e-5)
    assert smoothed.u_rate_g_s[200] > 1.5 * smoothed.u_rate_g_s[80]
    assert smoothed.u_mass_g[200] > 3.0 * smoothed.u_mass_g[80]
    assert abs(smoothed.rate_g_s[200] - rate[200]) < 3.0 * smoothed.u_rate_g_s[200]


def test_the_smoother_knows_more_than_the_filter() -> None:
    masses_g, _, rate = wandering(500, 1e-5, 0.2, seed=4)
    both, past = smooth(masses_g, wander=1e-5), filtered(masses_g, wander=1e-5)
    middle = slice(50, 450)
    assert (both.u_rate_g_s < past.u_rate_g_s)[middle].all()
    assert np.std((both.rate_g_s - rate)[middle]) < 0.8 * np.std((past.rate_g_s - rate)[middle])


def test_a_balance_of_whole_grams_tells_the_rate_all_the_same() -> None:
    masses_g, _, rate = wandering(900, 1e-6, 0.02, seed=12)
    smoothed = smooth(np.round(masses_g))
    inside = slice(60, -60)
    departure = (smoothed.rate_g_s - rate)[inside]
    assert np.sqrt(np.mean(departure**2)) < 0.02
    assert np.mean(np.abs(departure) < 2.0 * smoothed.u_rate_g_s[inside]) > 0.9


def test_a_wild_value_does_not_throw_the_rate() -> None:
    masses_g, _, _ = wandering(300, 1e-6, 0.1, seed=5)
    clean = smooth(masses_g, wander=1e-6)
    spoilt = masses_g.copy()
    spoilt[150] += 500.0
    wild = smooth(spoilt, wander=1e-6)
    away = np.abs(np.arange(300) - 150) > 1
    assert np.max(np.abs(wild.rate_g_s - clean.rate_g_s)[away]) < 0.02


def test_a_steady_burn_has_its_rate() -> None:
    t = np.arange(900.0)
    smoothed = smooth(700.0 - 0.15 * t + np.random.default_rng(6).normal(0.0, 0.1, 900))
    inside = slice(60, -60)
    assert np.mean(smoothed.rate_g_s[inside]) == pytest.approx(0.15, abs=0.002)
    assert np.std(smoothed.rate_g_s[inside]) < 0.004


@pytest.mark.parametrize("share", [WANDER_CHOICES[0], WANDER_CHOICES[-1]])
def test_likelihood_tells_a_steady_burn_from_a_lively_one(share: float) -> None:
    masses_g, _, _ = wandering(900, share * 0.15**2, 0.05, seed=7)
    chosen = smooth(masses_g).wander / typical_rate(masses_g) ** 2
    nearest = np.argmin(np.abs(np.log(np.array(WANDER_CHOICES) / chosen)))
    expected = WANDER_CHOICES.index(share)
    assert abs(nearest - expected) <= 1


@pytest.mark.parametrize("noise_g", [0.05, 0.5])
def test_white_noise_is_measured(noise_g: float) -> None:
    t = np.arange(1200.0)
    masses_g = 700.0 - 0.2 * t + np.random.default_rng(8).normal(0.0, noise_g, 1200)
    assert np.median(noise_of(masses_g)) == pytest.approx(noise_g, rel=0.2)


@pytest.mark.parametrize("lasting_s", [1.5, 4.0])
def test_gusts_count_as_the_correlated_noise_they_are(lasting_s: float) -> None:
    squared = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        memory = np.exp(-1.0 / lasting_s)
        push = np.zeros(1200)
        for i in range(1, 1200):
            push[i] = memory * push[i - 1] + rng.normal(0.0, 2.0 * (1.0 - memory**2) ** 0.5)
        masses_g = 700.0 - 0.15 * np.arange(1200.0) + push + rng.normal(0.0, 0.05, 1200)
        assert np.median(noise_of(masses_g)) > 1.5 * white_noise_sd(masses_g)
        smoothed = smooth(masses_g)
        squared.append(np.mean(((smoothed.rate_g_s - 0.15) / smoothed.u_rate_g_s)[60:-60] ** 2))
    assert np.sqrt(np.mean(squared)) < 1.5


def test_noise_that_begins_halfway_is_not_laid_on_the_rest() -> None:
    rng = np.random.default_rng(10)
    sd = np.where(np.arange(1200) < 600, 0.05, 1.0)
    noise = noise_of(700.0 - 0.2 * np.arange(1200.0) + rng.normal(0.0, 1.0, 1200) * sd)
    assert np.median(noise[800:]) == pytest.approx(1.0, rel=0.25)
    assert np.median(noise[:400]) < 0.5 * np.median(noise[800:])


def test_the_typical_rate_is_that_of_the_vigorous_burn() -> None:
    t = np.arange(1800.0)
    masses_g = 700.0 - np.interp(t, [0, 300, 1200, 1800], [0, 0, 0.16 * 900, 0.16 * 900 + 12.0])
    assert typical_rate(masses_g) == pytest.approx(0.16, rel=0.05)
    assert typical_rate(np.full(600, 700.0)) == 0.02
    assert typical_rate(np.full(600, np.nan)) == 0.02


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_a_record_of_next_to_nothing_is_smoothed(n: int) -> None:
    smoothed = smooth(np.linspace(500.0, 499.0, n))
    assert len(smoothed.mass_g) == len(smoothed.rate_g_s) == len(smoothed.u_rate_g_s) == n
    assert np.isfinite(smoothed.rate_g_s).all()


def test_a_record_without_readings_knows_no_rate() -> None:
    smoothed = smooth(np.full(60, np.nan))
    assert np.isfinite(smoothed.u_rate_g_s).all()
    assert (smoothed.u_rate_g_s >= 0.25).all()


def test_a_record_smoothed_in_two_parts_ends_as_one_smoothed_whole() -> None:
    rng = np.random.default_rng(12)
    masses_g = 700.0 - 0.15 * np.arange(600.0) + rng.normal(0.0, 0.1, 600)
    masses_g[350:370] = np.nan
    noise_g, q = np.full(600, 0.1), 1e-6
    whole, states = smooth_onward(masses_g, noise_g, q, None)
    early, _ = smooth_onward(masses_g[:400], noise_g[:400], q, None)
    before = tuple(states[399].tolist())
    late, _ = smooth_onward(masses_g[400:], noise_g[400:], q, before)
    for name in ("mass_g", "rate_g_s", "u_rate_g_s", "u_mass_g"):
        assert getattr(late, name) == pytest.approx(getattr(whole, name)[400:], rel=1e-9)
    assert early.rate_g_s[:200] == pytest.approx(whole.rate_g_s[:200], abs=1e-4)


@pytest.mark.parametrize("wander", [1e-6, 1e-5, 1e-4])
def test_smoothing_again_gives_what_two_passes_give(wander: float) -> None:
    rng = np.random.default_rng(11)
    t = np.arange(1500)
    rate = np.where((t > 300) & (t < 1100), 0.15 + 0.05 * np.sin(t / 100.0), 0.01)
    mass = 1500.0 - np.cumsum(rate) + rng.normal(0.0, 0.2, len(t))
    mass[700:760] = np.nan
    water = 0.1 * t
    twice = smooth_again(mass + water, smooth(mass, wander=wander))
    once = smooth(mass + water, wander=wander)
    # A straight ramp of water does not change the noise.
    np.testing.assert_allclose(twice.mass_g, once.mass_g, atol=0.02)
    np.testing.assert_allclose(twice.rate_g_s, once.rate_g_s, atol=1e-3)
    np.testing.assert_allclose(twice.u_rate_g_s, once.u_rate_g_s, rtol=1e-6)


def test_smoothing_again_is_not_thrown_by_a_wild_value() -> None:
    rng = np.random.default_rng(12)
    mass = 900.0 - 0.15 * np.arange(600) + rng.normal(0.0, 0.1, 600)
    first = smooth(mass, wander=1e-6)
    mass[300] += 40.0
    again = smooth_again(mass, first)
    assert np.max(np.abs(again.rate_g_s - first.rate_g_s)) < 0.02


def test_smoothing_again_what_is_not_known_gives_the_first_curve() -> None:
    first = smooth(900.0 - 0.15 * np.arange(100.0), wander=1e-6)
    assert smooth_again(np.full(100, np.nan), first) is first


@pytest.mark.parametrize("wander", [1e-6, 1e-4, 1e-2])
def test_the_likelihood_is_that_of_the_joint_normal_distribution(wander: float) -> None:
    n = 40
    rng = np.random.default_rng(13)
    mass = 500.0 - 0.15 * np.arange(n) + rng.normal(0.0, 0.2, n)
    mass[[7, 8, 21]] = np.nan
    noise = np.linspace(0.15, 0.25, n)
    # Covariance of the masses, step by step from the model.
    step, own = np.array([[1.0, -1.0], [0.0, 1.0]]), wander * np.array([[1 / 3, -1 / 2], [-1 / 2, 1.0]])
    state, cross = np.diag([100.0, 0.09]), np.zeros((n, n))
    states = []
    for i in range(n):
        if i:
            state = step @ state @ step.T + own
        states.append(state)
        carried = state
        for j in range(i, n):
            cross[i, j] = cross[j, i] = carried[0, 0]
            carried = step @ carried
    known = np.isfinite(mass)
    covariance = cross[np.ix_(known, known)] + np.diag(noise[known] ** 2)
    value = mass[known] - mass[0]
    expected = -0.5 * (np.linalg.slogdet(covariance)[1] + value @ np.linalg.solve(covariance, value))
    assert log_likelihood(mass, noise, wander) == pytest.approx(expected, abs=1e-6)


def test_nothing_known_is_as_likely_under_any_wander() -> None:
    assert log_likelihood(np.full(50, np.nan), np.ones(50), 1e-4) == log_likelihood(
        np.full(50, np.nan), np.ones(50), 1.0
    )
