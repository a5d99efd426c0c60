import pytest

from emberline.trials.alarms.alarm import Danger, Safe
from emberline.trials.alarms.bench_state import (
    BACK_S,
    FAILED_S,
    LEAST_FREE_BYTES,
    SILENT_S,
    WELL_S,
    SensorFault,
    disk_low,
    no_readings,
)

FLAME = {"flame": "its converter reports a fault"}


def test_a_burn_that_is_not_recorded_is_told_after_a_while() -> None:
    assert no_readings(False, SILENT_S - 1.0, "gone") is None
    for why, told in (("the port is gone", "the port is gone."), ("is it plugged in?", "is it plugged in?")):
        verdict = no_readings(False, SILENT_S, why)
        assert isinstance(verdict, Danger)
        assert verdict.text == f"For 20 s nothing has been recorded: {told}"


def test_it_is_over_once_readings_have_come_for_a_while() -> None:
    assert no_readings(True, BACK_S - 1.0, "") is None
    assert isinstance(no_readings(True, BACK_S, ""), Safe)


def test_a_sensor_that_fails_is_told_and_cleared_once_it_has_been_well_for_a_while() -> None:
    watch = SensorFault()
    assert watch.look(0.0, {}) is None
    assert watch.look(100.0, FLAME) is None
    assert watch.look(100.0 + FAILED_S - 1.0, FLAME) is None
    verdict = watch.look(100.0 + FAILED_S, FLAME)
    assert isinstance(verdict, Danger)
    assert verdict.text == "flame: its converter reports a fault."
    assert watch.look(200.0, {}) is None
    assert isinstance(watch.look(200.0 + WELL_S, {}), Safe)


def test_a_lead_that_is_touched_has_not_failed() -> None:
    watch = SensorFault()
    for second in range(200):
        assert not isinstance(watch.look(float(second), FLAME if second % 12 < 10 else {}), Danger)


def test_a_second_sensor_that_fails_is_more_than_one() -> None:
    watch, both = SensorFault(), {**FLAME, "water": "no reading comes"}
    watch.look(0.0, FLAME)
    watch.look(10.0, both)
    first, second = watch.look(20.0, both), watch.look(30.0, both)
    assert isinstance(first, Danger)
    assert isinstance(second, Danger)
    assert (first.rank, second.rank) == (1, 2)


def test_without_a_trial_no_sensor_is_watched() -> None:
    watch = SensorFault()
    watch.look(0.0, FLAME)
    assert isinstance(watch.look(100.0, None), Safe)
    assert watch.look(101.0, FLAME) is None


@pytest.mark.parametrize(
    ("free", "total", "kind"),
    [
        (0.9e9, 100e9, Danger),
        (1.1e9, 100e9, type(None)),
        (1.3e9, 100e9, Safe),
        # A small disk: a twentieth of it.
        (0.3e9, 8e9, Danger),
        (0.6e9, 8e9, Safe),
    ],
)
def test_a_disk_that_fills_up(free: float, total: float, kind: type) -> None:
    assert LEAST_FREE_BYTES == 10**9
    assert isinstance(disk_low(int(free), int(total)), kind)


def test_a_disk_that_cannot_be_asked_says_nothing() -> None:
    assert disk_low(None, 10**12) is None
    assert disk_low(10**12, None) is None
