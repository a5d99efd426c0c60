import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.errors import CalibrationError
from emberline.trials.calibrating.bath import BATH_LIMIT_S, OFF_LIMIT_S, BathWatch

HZ = 4
STEP_C = 0.25


def readings(around_c: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    rng = np.random.default_rng(6)
    t_ns = 1_764_072_000_000_000_000 + np.arange(len(around_c)) * (1_000_000_000 // HZ)
    shown = np.round((around_c + rng.normal(0.0, 0.1, len(around_c))) / STEP_C) * STEP_C
    return t_ns.astype(np.int64), shown


def run(watch: BathWatch, around_c: NDArray[np.float64], expected_c: float = 0.0) -> int | None:
    """Look once a second; return at which second it had settled."""
    t_ns, shown = readings(around_c)
    for end in range(HZ, len(t_ns) + 1, HZ):
        if watch.look(t_ns[:end], shown[:end], expected_c, 6.0):
            return end // HZ
    return None


def dipped(seconds: float, at_s: float = 20.0, to_c: float = 0.6) -> NDArray[np.float64]:
    t_s = np.arange(0.0, seconds, 1.0 / HZ)
    return np.where(t_s < at_s, 20.0, to_c + (20.0 - to_c) * np.exp(-(t_s - at_s) / 2.0))


def test_it_is_taken_once_it_has_settled_and_not_while_it_hangs_in_the_air() -> None:
    watch = BathWatch(STEP_C)
    at_s = run(watch, dipped(120.0))
    assert at_s is not None
    assert 45 < at_s < 75
    assert watch.mean_c == pytest.approx(0.6, abs=0.1)
    assert 0.05 < watch.u_mean_c < 0.2


def test_a_probe_at_rest_at_another_temperature_is_waited_for_and_then_taken_as_it_is() -> None:
    watch = BathWatch(STEP_C)
    at_s = run(watch, np.full(HZ * 150, 60.0))
    assert at_s is not None
    assert at_s > OFF_LIMIT_S
    assert watch.mean_c == pytest.approx(60.0, abs=0.1)


def test_water_that_still_warms_is_not_taken_and_refused_at_last() -> None:
    t_s = np.arange(0.0, BATH_LIMIT_S + 60.0, 1.0 / HZ)
    watch = BathWatch(STEP_C)
    with pytest.raises(CalibrationError, match="the probe never settled"):
        run(watch, 20.0 + t_s / 10.0, 99.7)


def test_an_open_lead_is_told_at_last() -> None:
    watch = BathWatch(STEP_C)
    with pytest.raises(CalibrationError, match="the probe reports a fault"):
        run(watch, np.full(HZ * int(BATH_LIMIT_S + 60.0), np.nan))
    assert watch.now_c is None


def test_without_readings_nothing_happens() -> None:
    assert not BathWatch(STEP_C).look(np.zeros(0, dtype=np.int64), np.zeros(0), 0.0, 6.0)
