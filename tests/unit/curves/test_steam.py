"""The rise of the mass loss at the boil."""

import numpy as np
import pytest

from boil_fixture import steam
from column_fixture import seconds
from emberline.curves.steam import steam_jump, steam_witness


def test_a_jump_of_steam_is_measured_around_the_boil() -> None:
    assert steam_jump(steam(600, 400.0), 400.0) == pytest.approx((0.15, 0.40))
    assert steam_jump(steam(600, 400.0), 10.0) is None
    assert steam_jump(np.full(600, np.nan), 400.0) is None


@pytest.mark.parametrize("away_s", [-20, 0, 15])
def test_a_step_smoothed_by_any_smoother_is_dated(away_s: int) -> None:
    kernel = np.exp(-0.5 * (np.arange(-30, 31) / 8.0) ** 2)
    rate = np.convolve(np.pad(steam(600, 400.0), 30, mode="edge"), kernel / kernel.sum(), "valid")
    witness = steam_witness(rate + np.random.default_rng(1).normal(0.0, 0.004, 600), 400 + away_s)
    assert witness is not None
    assert witness.t_s[np.argmax(witness.log_likelihood)] == pytest.approx(400.0, abs=4.0)


def test_evaporation_that_grows_until_the_boil_is_dated_at_its_end() -> None:
    t = seconds(700)
    rate = 0.15 + 0.25 * np.exp(np.minimum(t - 400.0, 0.0) / 30.0)
    witness = steam_witness(rate + np.random.default_rng(2).normal(0.0, 0.004, 700), 390)
    assert witness is not None
    assert witness.t_s[np.argmax(witness.log_likelihood)] == pytest.approx(400.0, abs=8.0)


def test_a_loss_that_does_not_rise_says_nothing() -> None:
    rng = np.random.default_rng(3)
    assert steam_witness(0.2 + rng.normal(0.0, 0.01, 600), 400) is None
    falling = 0.4 - steam(600, 400.0, 0.0, 0.25) + rng.normal(0.0, 0.01, 600)
    assert steam_witness(falling, 400) is None


def test_a_live_run_waits_until_the_rate_has_settled() -> None:
    assert steam_witness(steam(430, 400.0), 400) is None
    assert steam_witness(np.full(600, np.nan), 400) is None
    assert steam_witness(np.full(600, 0.2), 400) is None
