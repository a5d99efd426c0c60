"""Mains hum, true and false."""

import numpy as np
import pytest

from emberline.curves.checkup.hum import hum_of
from unit.curves.checkup.made_up import times


def readings(
    seed: int, rate_hz: float, hum_hz: float = 0.0, amplitude: float = 0.0, seconds: float = 10.0
) -> tuple[np.ndarray, np.ndarray]:
    dice = np.random.default_rng(seed)
    t_s = times(rate_hz, seconds, dice)
    wave = amplitude * np.sin(2.0 * np.pi * hum_hz * t_s + dice.uniform(0.0, 6.0))
    return t_s, dice.normal(0.0, 1.0, len(t_s)) + wave + 0.05 * t_s


@pytest.mark.parametrize("rate_hz", [80.3, 78.6, 45.0, 11.7])
@pytest.mark.parametrize(("hum_hz", "mains_hz"), [(50.0, 50.0), (50.05, 50.0), (59.95, 60.0), (100.0, 100.0)])
def test_hum_is_found_at_its_true_frequency_though_it_shows_at_another(
    rate_hz: float, hum_hz: float, mains_hz: float
) -> None:
    found = [hum_of(*readings(seed, rate_hz, hum_hz, 3.0)) for seed in range(10)]
    sound = [one for one in found if one is not None]
    assert len(sound) == 10
    assert [one.mains_hz for one in sound] == [mains_hz] * 10
    alias_hz = abs(hum_hz - round(hum_hz / rate_hz) * rate_hz)
    for one in sound:
        assert one.seen_hz == pytest.approx(alias_hz, abs=0.06)
        assert one.rms == pytest.approx(3.0 / 2.0**0.5, rel=0.3)


def test_noise_alone_is_hardly_ever_called_hum() -> None:
    false = [hum_of(*readings(seed, rate_hz)) for seed in range(120) for rate_hz in (80.3, 11.7)]
    assert sum(one is not None for one in false) <= 1


@pytest.mark.parametrize("swing_hz", [0.4, 3.3, 7.1])
def test_a_bench_that_rocks_is_no_hum(swing_hz: float) -> None:
    false = [hum_of(*readings(seed, 80.3, swing_hz, 4.0)) for seed in range(12)]
    assert all(one is None for one in false)


def test_codes_of_a_coarse_converter_are_no_hum() -> None:
    for seed in range(40):
        t_s, values = readings(seed, 10.4)
        assert hum_of(t_s, np.rint(0.3 * values)) is None


def test_where_the_alias_looks_like_a_drift_nothing_is_said() -> None:
    t_s = np.arange(200) / 10.0
    assert hum_of(t_s, 5.0 * np.sin(2.0 * np.pi * 50.05 * t_s) + np.random.default_rng(1).normal(size=200)) is None


def test_a_whisper_of_hum_below_the_noise_is_not_worth_a_word() -> None:
    assert hum_of(*readings(3, 80.3, 50.0, 0.45, seconds=20.0)) is None


def test_few_readings_and_none_that_move_say_nothing() -> None:
    t_s, values = readings(1, 80.3, 50.0, 5.0)
    assert hum_of(t_s[:40], values[:40]) is None
    assert hum_of(t_s, np.full(len(t_s), 7.0)) is None
