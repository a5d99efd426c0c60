"""Limits of carbon monoxide, their conversion and their means, against what is written elsewhere."""

import math

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from emberline.bench.co_limits import CO_LIMITS, mg_m3_of, ppm_of
from emberline.trials.alarms.co_means import BIN_S, CoMeans

HOUR_S = 3_600


@pytest.mark.parametrize(
    ("name", "mg_m3", "period_s"),
    [
        # WHO guidelines for indoor air quality: selected pollutants (2010), table of guidelines for carbon monoxide.
        ("who-15min", 100.0, 900),
        ("who-1h", 35.0, HOUR_S),
        ("who-8h", 10.0, 8 * HOUR_S),
        # WHO global air quality guidelines (2021), recommended level of the 24-hour mean; 7 mg/m³ in 2010.
        ("who-24h", 4.0, 24 * HOUR_S),
    ],
)
def test_guidelines_of_the_who_in_milligrams(name: str, mg_m3: float, period_s: int) -> None:
    limit = CO_LIMITS[name]
    assert mg_m3_of(limit.ppm) == pytest.approx(mg_m3, rel=1e-9)
    assert limit.period_s == period_s


@pytest.mark.parametrize(
    ("name", "ppm", "period_s"),
    [
        # 29 CFR 1910.1000, table Z-1 (OSHA): carbon monoxide 50 ppm, mean of 8 hours.
        ("osha-8h", 50.0, 8 * HOUR_S),
        # NIOSH pocket guide to chemical hazards, carbon monoxide: 35 ppm (40 mg/m³) over up to 10 hours, ceiling 200
        # ppm (229 mg/m³), immediately dangerous to life or health 1,200 ppm.
        ("niosh-10h", 35.0, 10 * HOUR_S),
        ("niosh-ceiling", 200.0, 0),
        ("idlh", 1_200.0, 0),
        # Directive (EU) 2017/164, annex: 20 ppm (23 mg/m³) over 8 hours, 100 ppm (117 mg/m³) over 15 minutes; from
        # memory.
        ("eu-8h", 20.0, 8 * HOUR_S),
        ("eu-15min", 100.0, 900),
    ],
)
def test_limits_at_work_in_parts_per_million(name: str, ppm: float, period_s: int) -> None:
    assert (CO_LIMITS[name].ppm, CO_LIMITS[name].period_s) == (ppm, period_s)


@pytest.mark.parametrize(
    ("ppm", "mg_m3", "air_c", "rounded_to"),
    [
        # NIOSH pocket guide: 1 ppm = 1.15 mg/m³ at 25 °C and 1 atm; 35 ppm = 40, 200 ppm = 229 mg/m³.
        (1.0, 1.15, 25.0, 0.01),
        (35.0, 40.0, 25.0, 1.0),
        (200.0, 229.0, 25.0, 1.0),
        # WHO 2010: 1 ppm = 1.145 mg/m³ at 25 °C, 1 atm.
        (1.0, 1.145, 25.0, 0.001),
        # Directive (EU) 2017/164, at 20 °C and 101.3 kPa: 20 ppm = 23, 100 ppm = 117 mg/m³ (from memory).
        (20.0, 23.0, 20.0, 1.0),
        (100.0, 117.0, 20.0, 1.0),
    ],
)
def test_the_conversion_gives_what_the_sources_print(ppm: float, mg_m3: float, air_c: float, rounded_to: float) -> None:
    assert mg_m3_of(ppm, air_c) == pytest.approx(mg_m3, abs=rounded_to)
    assert ppm_of(mg_m3_of(ppm, air_c), air_c) == pytest.approx(ppm)


def test_an_eight_hour_mean_is_the_time_weighted_one_of_the_regulation() -> None:
    """29 CFR 1910.1000 (d)(1)(ii), its worked example: 150, 75 and 50 ppm for 2, 2 and 4 hours are 81.25 ppm over 8."""
    means = CoMeans()
    values = np.repeat([150.0, 75.0, 50.0], [2 * HOUR_S, 2 * HOUR_S, 4 * HOUR_S])
    t_ns = np.arange(8 * HOUR_S, dtype=np.int64) * 10**9
    means.take(t_ns, values)
    window = means.window(int(t_ns[-1]), 8 * HOUR_S)
    assert window.mean_ppm == pytest.approx(81.25, rel=1e-12)
    assert window.measured == 1.0


@pytest.mark.parametrize("period_s", [900, HOUR_S])
def test_running_means_are_those_of_scipy(period_s: int) -> None:
    rng = np.random.default_rng(11)
    ppm = np.abs(np.cumsum(rng.normal(0.0, 1.0, 3 * HOUR_S)))
    pieces = ppm.reshape(-1, BIN_S).mean(axis=1)
    width = period_s // BIN_S
    # Centred by SciPy; shifted so that each mean ends with its own piece.
    expected = uniform_filter1d(pieces, width, origin=(width - 1) // 2, mode="constant")
    means, got = CoMeans(), []
    for piece in range(len(pieces)):
        t_ns = (piece * BIN_S + np.arange(BIN_S, dtype=np.int64)) * 10**9
        means.take(t_ns, ppm[piece * BIN_S : (piece + 1) * BIN_S])
        got.append(means.window(int(t_ns[-1]), period_s).least_ppm)
    assert np.allclose(got, expected, rtol=1e-9, atol=1e-9)
    assert not math.isclose(max(got), min(got))
