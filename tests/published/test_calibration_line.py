"""The line of a calibration against the worked example of the GUM.

JCGM 100:2008, H.3, calibration of a thermometer: the corrections of 11 readings over the temperature less 20 °C have
the intercept -0.1712 °C and the slope 0.00218 (from memory, not looked up).
"""

import pytest

from emberline.bench.calibration import fitted

READINGS_C = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS_C = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_the_thermometer_of_the_gum() -> None:
    line = fitted([(t_c - 20.0, b_c) for t_c, b_c in zip(READINGS_C, CORRECTIONS_C, strict=True)]).calibration
    assert line.zero_counts == pytest.approx(-0.1712, abs=5e-5)
    assert line.counts_per_unit == pytest.approx(0.00218, abs=5e-6)
