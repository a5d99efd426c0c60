"""The glance that decides whether lighting is looked for."""

import numpy as np
import pytest

from column_fixture import column
from emberline.trials.live_lit import may_be_lit

NOISE = np.random.default_rng(5).normal(0.0, 0.1, 600)


def test_a_quiet_bench_is_left_alone() -> None:
    mass, flame = column(900.0 + NOISE), column(18.0 + NOISE)
    assert not any(may_be_lit(mass.between(0, now), flame.between(0, now), now) for now in range(1, 601, 5))


@pytest.mark.parametrize("rate_g_s", [0.05, 0.15])
def test_a_loss_is_noticed_within_the_time_that_the_detectors_need(rate_g_s: float) -> None:
    t = np.arange(600.0)
    mass = column(900.0 - rate_g_s * np.maximum(t - 200.0, 0.0) + NOISE)
    noticed = next(now for now in range(205, 600, 5) if may_be_lit(mass.between(0, now), None, now))
    assert noticed <= 240


def test_a_flame_probe_that_rises_is_noticed_and_one_that_is_hot_already_too() -> None:
    t = np.arange(300.0)
    rising = column(18.0 + np.clip(t - 100.0, 0.0, 60.0) * 8.0)
    assert not may_be_lit(None, rising.between(0, 95), 95)
    assert may_be_lit(None, rising.between(0, 115), 115)
    assert may_be_lit(None, column(np.full(60, 600.0)), 60)


def test_silence_says_nothing() -> None:
    silent = column(np.full(100, np.nan))
    assert not may_be_lit(silent, silent, 100)
    assert not may_be_lit(None, None, 100)
