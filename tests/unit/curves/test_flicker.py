"""How a flame probe flickers in flame and over glowing char."""

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import column
from emberline.curves.flicker import (
    LOOSE_K,
    flicker,
    flickers_yet,
    still_flickers,
    without_hung,
    without_loose_lead,
)
from emberline.curves.grid import Column

Array = NDArray[np.float64]
OUT_S = 700.0


def probe(now: int, left_k: float, flame_k: float = 30.0, after_c: float = 330.0) -> Column:
    """A probe in a flame that seems to end, and what it flickers before and after."""
    t = np.arange(now) + 0.5
    news = np.random.default_rng(2).normal(0.0, 1.0, now)
    value = np.where(t < OUT_S, 620.0 + flame_k * news, after_c + (620.0 - after_c) * np.exp((OUT_S - t) / 12.0))
    return column(np.where(t < OUT_S, value, value + left_k * news))


@pytest.mark.parametrize("after_c", [330.0, 110.0])
@pytest.mark.parametrize("now", [730, 800, 1_000])
def test_a_flame_that_burns_low_flickers_yet_however_cool_its_probe_is(now: int, after_c: float) -> None:
    assert flickers_yet(probe(now, 15.0, after_c=after_c), OUT_S)
    assert not flickers_yet(probe(now, 3.0, after_c=after_c), OUT_S)


def test_the_noise_of_a_converter_is_no_flicker() -> None:
    # A probe in a thick sheath hardly flickers in flame.
    assert not flickers_yet(probe(800, 0.8, 1.0), OUT_S)
    assert flickers_yet(probe(800, 6.0, 8.0), OUT_S)


def test_what_cannot_be_told_is_no_flicker() -> None:
    assert not flickers_yet(probe(715, 15.0), OUT_S)
    assert not flickers_yet(column(np.full(900, np.nan)), OUT_S)
    silent = np.where(np.arange(900) < OUT_S, np.nan, probe(900, 15.0).value)
    assert not flickers_yet(column(silent), OUT_S)


def test_flicker_does_not_see_the_course() -> None:
    t = np.arange(300) + 0.5
    noise = np.random.default_rng(4).normal(0.0, 2.0, 300)
    # Second differences of white noise: (1 + 4 + 1) times its variance.
    assert flicker(noise) == pytest.approx(2.0 * 6.0**0.5, rel=0.15)
    assert flicker(noise + 0.5 * t) == pytest.approx(flicker(noise), rel=1e-9)
    assert np.isnan(flicker(noise[:10]))


def test_a_probe_that_flickers_on_as_in_flame_still_stands_in_one() -> None:
    assert still_flickers(probe(1_000, 25.0), 80.0, OUT_S)
    assert not still_flickers(probe(1_000, 8.0), 80.0, OUT_S)
    assert not still_flickers(probe(1_000, 25.0, after_c=120.0), 80.0, OUT_S)


def test_a_converter_that_hangs_in_flame_shows_no_afterglow() -> None:
    value = 700.0 + np.random.default_rng(1).normal(0.0, 25.0, 1_200)
    value[800:890] = 750.0
    assert np.isnan(without_hung(value)[800:890]).all()
    assert np.isfinite(np.delete(without_hung(value), range(800, 890))).all()


def test_char_that_rests_on_a_coarse_code_is_no_hung_converter() -> None:
    news = np.random.default_rng(1).normal(0.0, 1.0, 1_200)
    t = np.arange(1_200)
    glow = np.round(330.0 + 290.0 * np.exp((700.0 - t) / 15.0))
    value = np.where(t < 700, 620.0 + 25.0 * news, glow)
    assert np.array_equal(without_hung(value), value)
    cold = np.where(t < 700, 620.0 + 25.0 * news, 25.0)
    assert np.array_equal(without_hung(cold), cold)


def test_a_flame_that_leaves_its_probe_for_good_is_no_loose_lead() -> None:
    value = np.where(np.arange(1_200) < 950, 640.0, 640.0 - 4.0 * LOOSE_K)
    value += np.random.default_rng(1).normal(0.0, 5.0, 1_200)
    assert np.array_equal(without_loose_lead(value), value)


def test_a_loose_lead_is_taken_out() -> None:
    value = 640.0 + np.random.default_rng(1).normal(0.0, 5.0, 1_200)
    value[500:560] = 27.0
    cleaned = without_loose_lead(value)
    assert np.isnan(cleaned[500:560]).all()
    assert np.isfinite(np.delete(cleaned, range(500, 560))).all()
