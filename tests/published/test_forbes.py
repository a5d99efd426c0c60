"""Boiling point against what J. D. Forbes measured in the Alps and in Scotland with the instruments of his day.

J. D. Forbes, "Further experiments and remarks on the measurement of heights by the boiling point of water",
Transactions of the Royal Society of Edinburgh 21 (1857) 135-143; the 17 rows as in the R data set MASS::forbes
(boiling point in degrees Fahrenheit, barometer in inches of mercury) and in S. Weisberg, Applied Linear Regression.
Row 12 is the outlier that Weisberg's book is known for.
"""

import numpy as np
import pytest

from emberline.bench.air import boiling_point_c, saturation_pressure_pa

BOILING_F = np.array(
    [
        194.5,
        194.3,
        197.9,
        198.4,
        199.4,
        199.9,
        200.9,
        201.1,
        201.4,
        201.3,
        203.6,
        204.6,
        209.5,
        208.6,
        210.7,
        211.9,
        212.2,
    ]
)
BAROMETER_INHG = np.array(
    [
        20.79,
        20.79,
        22.40,
        22.67,
        23.15,
        23.35,
        23.89,
        23.99,
        24.02,
        24.01,
        25.14,
        26.57,
        28.49,
        27.76,
        29.04,
        29.88,
        30.06,
    ]
)
OUTLIER = 11
GOOD = np.arange(len(BOILING_F)) != OUTLIER
PA_PER_INHG = 3386.389  # conventional inch of mercury at 32 degF, NIST SP 811, appendix B

BOILING_C = (BOILING_F - 32.0) / 1.8
RESIDUAL_K = BOILING_C - boiling_point_c(BAROMETER_INHG * PA_PER_INHG)


def test_the_rows_are_those_of_the_published_regression() -> None:
    # Weisberg, Applied Linear Regression, section 1.1: 100 log10(pressure) = -42.14 + 0.895 F, residual SD 0.379
    # (from memory). Guards against slips in the typing.
    y = 100.0 * np.log10(BAROMETER_INHG)
    slope, intercept = np.polyfit(BOILING_F, y, 1)
    assert slope == pytest.approx(0.895, abs=0.001)
    assert intercept == pytest.approx(-42.14, abs=0.05)
    residual = y - intercept - slope * BOILING_F
    assert np.sqrt(residual @ residual / 15) == pytest.approx(0.379, abs=0.001)


def test_sixteen_of_seventeen_agree_within_a_quarter_of_a_kelvin() -> None:
    # Read to 0.1 degF (0.06 K) and 0.01 inHg (0.1 to 0.13 K each way of mercury temperature and scale).
    assert np.abs(RESIDUAL_K[GOOD]).max() < 0.25


def test_his_thermometer_read_a_tenth_of_a_kelvin_high_and_scattered_by_less() -> None:
    # Not a fault of the equation: nearly all residuals are positive, and they scatter as the reading of 0.1 degF and of
    # the barometer lets them. A wrong slope of the saturation line would show as a trend over the 10 K.
    assert RESIDUAL_K[GOOD].mean() == pytest.approx(0.10, abs=0.02)
    assert RESIDUAL_K[GOOD].std(ddof=1) < 0.08
    trend = np.polyfit(BOILING_C[GOOD], RESIDUAL_K[GOOD], 1)[0]
    assert abs(trend) < 0.01


def test_the_known_outlier_stands_out() -> None:
    assert int(np.abs(RESIDUAL_K).argmax()) == OUTLIER
    assert RESIDUAL_K[OUTLIER] == pytest.approx(-0.79, abs=0.02)
    assert abs(RESIDUAL_K[OUTLIER]) > 10.0 * RESIDUAL_K[GOOD].std(ddof=1)


def test_slope_of_the_saturation_line_agrees_with_his_sixteen() -> None:
    measured = np.polyfit(BOILING_F[GOOD], np.log10(BAROMETER_INHG[GOOD]), 1)[0]
    equation = np.polyfit(BOILING_F[GOOD], np.log10(saturation_pressure_pa(BOILING_C[GOOD])), 1)[0]
    assert equation == pytest.approx(measured, rel=0.01)
