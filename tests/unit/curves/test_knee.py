"""Knees whose moment is known, against exact lags and against brute force."""

import numpy as np
import pytest
from numpy.typing import NDArray

from boil_fixture import lagged
from emberline.curves.knee import Witness, fit_knee

Array = NDArray[np.float64]

T_S = np.arange(0.5, 300.0)


def hinge(knee_s: float, slope_k_s: float = 0.15, level_c: float = 99.0) -> Array:
    return np.asarray(level_c - slope_k_s * np.maximum(knee_s - T_S, 0.0))


def noisy(values: Array, sd: float, seed: int) -> Array:
    return values + np.random.default_rng(seed).normal(0.0, sd, len(values))


@pytest.mark.parametrize("lag_s", [0.0, 3.0, 15.0])
def test_a_knee_is_found_behind_its_lag(lag_s: float) -> None:
    # The exact response is integrated step by step by the fixture.
    fine_s = 0.02
    t = np.arange(0.0, 300.0, fine_s)
    water = 99.0 - 0.15 * np.maximum(200.0 - t, 0.0)
    water[0] += 0.0 if lag_s == 0.0 else -0.15 * lag_s
    reading = np.interp(T_S, t, lagged(water, lag_s))
    knee = fit_knee(T_S[60:], noisy(reading, 0.02, 1)[60:], 210.0, 0.15, lag_s, 0.02)
    assert knee is not None
    assert knee.t_s == pytest.approx(200.0, abs=0.8)
    assert knee.slope_k_s == pytest.approx(0.15, rel=0.1)
    assert knee.level_c == pytest.approx(99.0, abs=0.05)


@pytest.mark.parametrize("around_s", [160.0, 185.0, 215.0, 230.0])
def test_where_one_begins_to_look_does_not_matter(around_s: float) -> None:
    knee = fit_knee(T_S, noisy(hinge(200.0), 0.05, 2), around_s, 0.13, 0.0, 0.05)
    assert knee is not None
    assert knee.t_s == pytest.approx(200.0, abs=1.5)


def test_a_rounded_knee_is_dated_where_half_the_slope_is_left() -> None:
    # A softplus has half of its slope where its argument is 0.
    width_s = 4.0
    value = 99.0 - 0.15 * width_s * np.logaddexp(0.0, (200.0 - T_S) / width_s)
    knee = fit_knee(T_S, noisy(value, 0.03, 3), 205.0, 0.15, 0.0, 0.03)
    assert knee is not None
    assert knee.t_s == pytest.approx(200.0, abs=max(2.0, 2.0 * knee.u_s))


def test_uncertainty_is_that_of_the_errors() -> None:
    departures = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        knee_s, slope, sd = (
            float(rng.uniform(150.0, 220.0)),
            float(rng.uniform(0.04, 0.3)),
            float(rng.uniform(0.05, 0.4)),
        )
        knee = fit_knee(T_S, noisy(hinge(knee_s, slope), sd, seed), knee_s + rng.uniform(-10.0, 10.0), slope, 0.0, sd)
        assert knee is not None
        departures.append((knee.t_s - knee_s) / knee.u_s)
    # Stated for a ramp and readings that wander, which these do not: never too small.
    assert np.sqrt(np.mean(np.square(departures))) < 1.1


def test_wandering_readings_widen_it() -> None:
    rng = np.random.default_rng(5)
    wander = np.zeros(len(T_S))
    for i in range(1, len(wander)):
        wander[i] = 0.9 * wander[i - 1] + rng.normal(0.0, 0.12)
    calm = fit_knee(T_S, noisy(hinge(200.0), 0.05, 6), 200.0, 0.15, 0.0, 0.05)
    rough = fit_knee(T_S, noisy(hinge(200.0), 0.05, 6) + wander, 200.0, 0.15, 0.0, 0.05)
    assert calm is not None
    assert rough is not None
    assert rough.u_s > 1.5 * calm.u_s
    assert abs(rough.t_s - 200.0) < 2.5 * rough.u_s


def test_a_few_wild_readings_change_nothing() -> None:
    value = noisy(hinge(200.0), 0.05, 7)
    wild = value.copy()
    wild[[185, 192, 204, 230]] -= 4.0
    clean, spoilt = (fit_knee(T_S, v, 200.0, 0.15, 0.0, 0.05) for v in (value, wild))
    assert clean is not None
    assert spoilt is not None
    assert spoilt.t_s == pytest.approx(clean.t_s, abs=2.0)


def test_another_witness_is_heard() -> None:
    value = noisy(hinge(200.0, 0.03), 0.3, 8)
    moments = np.arange(100.0, 280.0, 1.0)
    alone = fit_knee(T_S, value, 200.0, 0.03, 0.0, 0.3)
    helped = fit_knee(T_S, value, 200.0, 0.03, 0.0, 0.3, Witness(moments, -0.5 * ((moments - 200.0) / 1.5) ** 2))
    assert alone is not None
    assert helped is not None
    assert helped.u_s < 0.7 * alone.u_s
    assert helped.t_s == pytest.approx(200.0, abs=6.0)


def test_what_has_no_knee_has_none() -> None:
    assert fit_knee(T_S[:5], np.full(5, 99.0), 3.0, 0.1, 0.0, 0.05) is None
    assert fit_knee(T_S, 99.0 - 0.3 * np.maximum(T_S - 150.0, 0.0), 150.0, 0.003, 0.0, 0.05) is None
