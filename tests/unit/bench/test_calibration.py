import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.calibration import (
    Calibration,
    Identity,
    Linear,
    ThermocoupleCode,
    fitted,
    for_calibrated_source,
    for_device,
)
from emberline.bench.errors import CalibrationError, OutOfRangeError
from emberline.bench.thermocouple import emf_mv

FLAT_UV_K = 41.276


def test_identity_copies() -> None:
    raw = np.array([1.0, np.nan])
    values = Identity().apply(raw)
    assert values is not raw
    np.testing.assert_array_equal(values, raw)


def test_linear_turns_counts_into_grams() -> None:
    values = Linear(zero_counts=84_000.0, counts_per_unit=420.0).apply(np.array([84_000.0, 504_000.0]))
    assert values == pytest.approx([0.0, 1000.0])


@pytest.mark.parametrize("code", [0x7FFFFF, -0x800000])
def test_saturated_codes_become_gaps(code: int) -> None:
    values = Linear(0.0, 420.0).apply(np.array([42_000.0, float(code)]))
    assert np.isnan(values).tolist() == [False, True]


@pytest.mark.parametrize("slope", [0.0, float("nan"), float("inf")])
def test_a_line_without_a_slope_is_refused(slope: float) -> None:
    with pytest.raises(CalibrationError, match="known mass"):
        Linear(0.0, slope)


def test_thermocouple_codes_become_degrees_and_absurd_ones_gaps() -> None:
    values = ThermocoupleCode("K", 0.25, correction_c=-0.5).apply(np.array([400.0, 8191.0, np.nan]))
    assert values[0] == pytest.approx(99.5)
    assert np.isnan(values[1:]).all()


def flat_reading_c(true_c: NDArray[np.float64], cold_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """What a converter of constant slope reports."""
    return (emf_mv("K", true_c) - emf_mv("K", cold_c)) / (FLAT_UV_K * 1e-3) + cold_c


def test_a_flat_converter_is_made_linear_again() -> None:
    true_c, cold_c = np.array([20.0, 100.0, 800.0]), np.full(3, 25.0)
    reported_c = flat_reading_c(true_c, cold_c)
    assert reported_c[2] == pytest.approx(806.9, abs=0.05)
    values = ThermocoupleCode("K", 0.25, FLAT_UV_K).apply(reported_c / 0.25, cold_c)
    assert values == pytest.approx(true_c, abs=1e-6)


def test_a_flat_converter_gives_gaps_where_code_or_cold_junction_are_absurd() -> None:
    values = ThermocoupleCode("K", 1.0, FLAT_UV_K).apply(
        np.array([2000.0, 100.0, 100.0]), np.array([25.0, 999.0, 25.0])
    )
    assert np.isnan(values).tolist() == [True, True, False]


def test_a_flat_converter_needs_its_cold_junction() -> None:
    with pytest.raises(CalibrationError, match="cold junction"):
        ThermocoupleCode("K", 0.25, FLAT_UV_K).apply(np.array([400.0]))


def test_senseless_thermocouples_are_refused() -> None:
    with pytest.raises(CalibrationError, match="data sheet"):
        ThermocoupleCode("K", -0.25)
    with pytest.raises(OutOfRangeError):
        ThermocoupleCode("Q")


@pytest.mark.parametrize(
    ("calibration", "completed"),
    [
        (Identity(), Linear(1000.0, 400.0)),
        (Linear(5.0, 419.0), Linear(5.0, 419.0)),
        (ThermocoupleCode("T", 0.25), ThermocoupleCode("T", 0.25)),
    ],
)
def test_the_device_s_scale_serves_where_the_bench_gives_none(calibration: Calibration, completed: Calibration) -> None:
    assert for_device(calibration, scale=0.0025, zero=1000.0) == completed


def test_a_device_that_says_its_converter_is_flat_is_linearised_unless_the_bench_says_how() -> None:
    # 41.276 microvolts a kelvin: the data sheet of the MAX31855, table 1, from memory.
    assert for_device(ThermocoupleCode("K"), scale=0.25, flat=True) == ThermocoupleCode("K", 0.25, 41.276)
    assert for_device(Identity(), scale=0.25, flat=True) == ThermocoupleCode("K", 0.25, 41.276)
    own = ThermocoupleCode("K", flat_uv_k=40.7)
    assert for_device(own, scale=0.25, flat=True) == ThermocoupleCode("K", 0.25, 40.7)


def test_the_device_s_step_completes_a_thermocouple() -> None:
    assert for_device(ThermocoupleCode("K", correction_c=1.4), scale=0.25) == ThermocoupleCode("K", 0.25, None, 1.4)
    with pytest.raises(CalibrationError, match="start at 0"):
        for_device(ThermocoupleCode("K"), scale=0.25, zero=100.0)
    with pytest.raises(CalibrationError, match="no scale"):
        for_device(Identity(), scale=0.0)


def test_values_in_degrees_keep_only_the_probe_s_correction() -> None:
    probe = ThermocoupleCode("K", 0.25, FLAT_UV_K, correction_c=1.4)
    assert for_calibrated_source(probe).apply(np.array([98.0])) == pytest.approx([99.4])
    assert for_calibrated_source(Linear(84_000.0, 420.0)) == Identity()
    assert for_calibrated_source(Identity()) == Identity()


def test_two_points_give_zero_and_slope() -> None:
    fit = fitted([(0.0, 84_210.0), (2000.0, 922_210.0)])
    assert fit.calibration.counts_per_unit == pytest.approx(419.0)
    assert fit.calibration.zero_counts == pytest.approx(84_210.0)
    assert not fit.checked
    assert fit.u_slope == pytest.approx(0.05 / 2000.0)


def test_a_middle_point_shows_linearity_and_a_return_point_hysteresis() -> None:
    # 400 counts a gram; the middle load reads 2 g low on the way up and 1 g low on the way back.
    fit = fitted([(0.0, 0.0), (1000.0, 399_200.0), (2000.0, 800_000.0), (1000.0, 399_600.0), (0.0, 0.0)])
    assert fit.checked
    assert fit.hysteresis == pytest.approx(1.0, rel=0.01)
    assert 1.0 < fit.linearity < 2.0
    assert fit.u_slope == pytest.approx(np.hypot(fit.linearity / np.sqrt(3.0), 0.05) / 2000.0)


def test_points_that_give_no_slope_are_refused() -> None:
    with pytest.raises(CalibrationError, match="two different loads"):
        fitted([(500.0, 100.0), (500.0, 101.0)])
    with pytest.raises(CalibrationError, match="wiring"):
        fitted([(0.0, 100.0), (500.0, 100.0)])
    with pytest.raises(CalibrationError, match="two different loads"):
        fitted([])
