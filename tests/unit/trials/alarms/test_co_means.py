import math
from itertools import pairwise

import numpy as np
import pytest

from emberline.trials.alarms.co_means import BIN_S, HELD_S, CoMeans

S_NS = 10**9
NOON_NS = 1_764_072_000 * S_NS
MINUTE_S, HOUR_S, DAY_S = 60, 3_600, 86_400


def taken(ppm: list[float], every_s: float = 1.0, start_s: float = 0.0, means: CoMeans | None = None) -> CoMeans:
    means = CoMeans() if means is None else means
    t_ns = NOON_NS + np.rint((start_s + every_s * np.arange(len(ppm))) * 1e9).astype(np.int64)
    means.take(t_ns, np.array(ppm))
    return means


def at(seconds: float) -> int:
    return NOON_NS + round(seconds * 1e9)


def test_a_whole_period_has_one_mean() -> None:
    window = taken([10.0] * 450 + [30.0] * 450).window(at(899), 900)
    assert (window.mean_ppm, window.least_ppm, window.measured) == (20.0, 20.0, 1.0)


def test_what_was_not_measured_is_not_in_the_mean_and_is_said() -> None:
    window = taken([40.0] * 300).window(at(299), 900)
    assert window.mean_ppm == 40.0
    assert window.measured == pytest.approx(1.0 / 3.0)
    assert window.least_ppm == pytest.approx(40.0 / 3.0)


def test_a_fault_counts_as_not_measured() -> None:
    window = taken([40.0] * 300 + [math.nan] * 300).window(at(599), 600)
    assert (window.mean_ppm, window.measured) == (40.0, 0.5)


def test_without_readings_nothing_is_known() -> None:
    window = CoMeans().window(at(0), 900)
    assert math.isnan(window.mean_ppm)
    assert (window.least_ppm, window.measured) == (0.0, 0.0)


def test_time_weighs_and_not_the_number_of_readings() -> None:
    means = taken([10.0] * 600)
    taken([40.0] * 6_000, every_s=0.1, start_s=600.0, means=means)
    assert means.window(at(1_199), 1_200).mean_ppm == pytest.approx(25.0)


def test_a_slow_sensors_reading_stands_for_the_time_since_the_one_before() -> None:
    window = taken([12.0] * 31, every_s=30.0).window(at(900), 900)
    assert window.mean_ppm == pytest.approx(12.0)
    assert window.measured == 1.0
    apart = taken([12.0] * 8, every_s=HELD_S + 2.0 * BIN_S).window(at(560), 560)
    assert apart.measured < 0.2, "readings that lie too far apart stand for nothing between them"


def test_a_reading_that_is_on_its_way_is_no_gap_and_one_that_never_comes_is() -> None:
    means = taken([10.0] * 900)
    assert means.window(at(899 + HELD_S - BIN_S), 900).measured == 1.0
    assert means.window(at(899 + 450), 900).measured == pytest.approx(0.5, abs=0.02)
    assert means.window(at(899 + DAY_S), 900).measured == 0.0


def test_readings_that_come_late_fill_their_gap() -> None:
    means = taken([10.0] * 300)
    taken([30.0] * 300, start_s=600.0, means=means)
    taken([20.0] * 300, start_s=300.0, means=means)
    window = means.window(at(899), 900)
    assert window.mean_ppm == pytest.approx(20.0)
    assert window.measured == 1.0


def test_a_day_is_remembered_and_not_more() -> None:
    means = taken([5.0] * (DAY_S // 10), every_s=10.0)
    taken([15.0] * (DAY_S // 10), every_s=10.0, start_s=DAY_S, means=means)
    window = means.window(at(2 * DAY_S - 10), DAY_S)
    assert (window.mean_ppm, window.measured) == (15.0, 1.0)
    taken([900.0] * 10, start_s=0.0, means=means)
    assert means.window(at(2 * DAY_S - 10), DAY_S) == window, "what is older than a day comes too late"


def test_the_newest_pieces() -> None:
    means = taken([float(second // BIN_S) for second in range(100)])
    assert means.newest(at(99), 2) == [8.0, 9.0]
    assert means.newest(at(99 + HELD_S + BIN_S + 1), 2) == []
    assert CoMeans().newest(at(0), 2) == []
    broken = taken([7.0] * 10, start_s=400.0, means=taken([5.0] * 10))
    assert broken.newest(at(410), 2) == [7.0]


def test_another_ones_readings_are_taken_in() -> None:
    earlier, later = taken([10.0] * 450), taken([30.0] * 450, start_s=450.0)
    later.add(earlier)
    whole = taken([10.0] * 450 + [30.0] * 450)
    for period_s in (60, 600, 900, HOUR_S):
        assert later.window(at(899), period_s) == whole.window(at(899), period_s)


def test_batches_of_any_size_give_the_same() -> None:
    rng = np.random.default_rng(4)
    ppm = list(map(float, np.abs(rng.normal(20.0, 5.0, 1_200))))
    cuts = sorted({0, 1_200, *rng.integers(1, 1_200, 40).tolist()})
    parts = CoMeans()
    for low, high in pairwise(cuts):
        taken(ppm[low:high], start_s=float(low), means=parts)
    assert parts.window(at(1_199), 900).mean_ppm == pytest.approx(taken(ppm).window(at(1_199), 900).mean_ppm)
