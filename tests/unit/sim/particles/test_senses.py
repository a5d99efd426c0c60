from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.particles.history import History
from emberline_sim.particles.senses import (
    FlameSense,
    Sampling,
    Spoilt,
    WaterSense,
    bead_transfer_w_m2k,
    read_flame,
    read_water,
    sample_times_s,
)
from emberline_sim.particles.setting import Setting

Make = Callable[..., tuple[Setting, History]]
EVEN = Sampling(4.0, "clock", 0.01)
WATER = WaterSense(EVEN, 1.5, 20.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, True)
FLAME = FlameSense(EVEN, 0.001, 30.0, 0.1, 1.0, 0.1, 0.1, 0.0, 0.0)


def chance(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_a_clock_ticks_evenly_and_a_loop_does_not() -> None:
    clock = sample_times_s(600.0, Sampling(10.0, "clock", 0.1), chance())
    loop = sample_times_s(600.0, Sampling(10.0, "loop", 0.1), chance())
    for t_s in (clock, loop):
        assert t_s[0] == 0.0
        assert (np.diff(t_s) > 0.0).all()
        assert len(t_s) == pytest.approx(6000, rel=0.12)
    assert np.std(np.diff(clock)) < 0.01
    assert np.diff(loop).max() > 0.5


def test_gaps_stay_empty() -> None:
    t_s = sample_times_s(100.0, Sampling(10.0, "clock", 0.1, ((20.0, 50.0),)), chance())
    assert not ((t_s >= 20.0) & (t_s < 50.0)).any()


def test_the_water_probe_follows_the_water_by_its_lag(history: Make) -> None:
    _, one = history("lifted")
    stay = one.stays[0]
    t_s = np.arange(stay.on_s + 60.0, stay.on_s + 200.0, 0.25)
    read = read_water(t_s, one, 0.0, WATER, chance())
    truth = np.interp(t_s - WATER.lag_s, one.t_s, one.column["bulk_c"])
    assert np.abs(read - truth).mean() < 0.5


def test_errors_of_the_water_probe(history: Make) -> None:
    _, one = history("lifted")
    t_s = np.arange(0.0, 600.0, 0.25)
    plain = read_water(t_s, one, 0.0, WATER, chance())
    low = read_water(t_s, one, 0.0, replace(WATER, bias_c=-1.5), chance())
    assert np.mean(low - plain) == pytest.approx(-1.5, abs=0.02)
    coarse = read_water(t_s, one, 0.0, replace(WATER, sampling=replace(EVEN, step=0.25)), chance())
    assert np.allclose(coarse * 4.0, np.round(coarse * 4.0))


def test_a_record_that_begins_late_shows_what_was_then(history: Make) -> None:
    _, one = history("lifted")
    t_s = np.arange(0.0, 100.0, 0.25)
    late = read_water(t_s, one, 300.0, WATER, chance())
    early = read_water(t_s + 300.0, one, 0.0, WATER, chance())
    assert np.allclose(late, early)


@pytest.mark.parametrize("kind", ["open", "short", "stuck", "wild", "out"])
def test_broken_stretches_of_the_water_probe(history: Make, kind: str) -> None:
    _, one = history("lifted")
    boil_s = one.stays[0].boil_s
    assert boil_s is not None
    t_s = np.arange(0.0, boil_s + 20.0, 0.25)
    spoilt = Spoilt(kind, boil_s - 60.0, boil_s - 20.0)  # type: ignore[arg-type]
    sound = read_water(t_s, one, 0.0, WATER, chance())
    read = read_water(t_s, one, 0.0, replace(WATER, spoilt=(spoilt,)), chance())
    inside = (t_s >= spoilt.from_s) & (t_s < spoilt.to_s)
    before = t_s < spoilt.from_s - 1.0
    assert np.allclose(read[before], sound[before])
    match kind:
        case "open":
            assert np.isnan(read[inside]).all()
        case "short":
            assert (read[inside] < 50.0).all()
        case "stuck":
            assert len(set(read[inside])) == 1
        case "wild":
            assert np.abs(read[inside] - sound[inside]).max() > 100.0
        case _:
            assert read[inside][-1] < sound[inside][-1] - 20.0


def test_the_flame_probe_shows_flame_glow_and_air(history: Make) -> None:
    _, one = history("bare", 3)
    flame = one.column["flame"] > 0.5
    out_s = float(one.t_s[flame][-1])
    assert one.lit_s is not None
    t_s = np.arange(0.0, min(out_s + 200.0, float(one.t_s[-1])), 0.25)
    read = read_flame(t_s, one, 0.0, FLAME, chance())
    before, during = t_s < one.lit_s, (t_s > one.lit_s + 150.0) & (t_s < 0.7 * out_s)
    after = t_s > out_s + 60.0
    assert read[before].mean() < 45.0
    assert 350.0 < read[during].mean() < 1000.0
    assert 40.0 < read[after].mean() < 0.8 * read[during].mean()
    assert np.std(np.diff(read[during])) > 3.0 * np.std(np.diff(read[after]))


def test_a_thicker_bead_reads_lower(history: Make) -> None:
    """Energy balance of a bead that radiates: of gas at 800 °C 1 mm shows 665 °C and 3 mm 589 °C (computed)."""
    _, one = history("bare", 3)
    during = np.arange(200.0, 350.0, 0.25)
    thin, thick = (read_flame(during, one, 0.0, replace(FLAME, bead_m=d), chance()).mean() for d in (0.0005, 0.003))
    assert thick < thin - 20.0


def test_heat_transfer_of_a_bead() -> None:
    """Ranz and Marshall by hand for 1 mm at 2 m/s in gas of 0.06 W/(m K) and 1.2e-4 m2/s: Re 16.7, Nu 4.18."""
    assert bead_transfer_w_m2k(0.001) == pytest.approx(251.0, rel=0.01)
