"""Boiling point against IAPWS-IF97, ISO 2533 and an engineer's handbook."""

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.bench.air import Place, boiling_point, boiling_point_c, pressure_at_altitude_pa, saturation_pressure_pa


@pytest.mark.parametrize(("pressure_mpa", "t_k"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)])
def test_backward_equation_gives_the_release_s_check_values(pressure_mpa: float, t_k: float) -> None:
    # IAPWS R7-97(2012), table 36.
    assert boiling_point_c(pressure_mpa * 1e6) + 273.15 == pytest.approx(t_k, abs=5e-7)


@pytest.mark.parametrize(
    ("t_k", "pressure_mpa"), [(300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2)]
)
def test_saturation_pressure_gives_the_release_s_check_values(t_k: float, pressure_mpa: float) -> None:
    # IAPWS R7-97(2012), table 35.
    assert saturation_pressure_pa(t_k - 273.15) * 1e-6 == pytest.approx(pressure_mpa, rel=2e-9)


@pytest.mark.parametrize(
    ("altitude_m", "pressure_hpa"),
    [(0, 1013.25), (500, 954.608), (1000, 898.746), (1500, 845.560), (2000, 794.952), (3000, 701.085), (4000, 616.402)],
)
def test_pressure_falls_with_altitude_as_in_the_standard_atmosphere(altitude_m: float, pressure_hpa: float) -> None:
    # ISO 2533:1975 and US Standard Atmosphere 1976, table by geopotential altitude (from memory).
    assert pressure_at_altitude_pa(float(altitude_m)) / 100.0 == pytest.approx(pressure_hpa, abs=0.01)


@pytest.mark.parametrize(("altitude_m", "pressure_kpa"), [(1000, 89.88), (2000, 79.50), (3000, 70.11)])
def test_pressure_agrees_with_a_handbook(altitude_m: float, pressure_kpa: float) -> None:
    # Mechanical Engineers' Handbook, vol. 4, table 6, which rounds to 0.01 kPa.
    assert pressure_at_altitude_pa(float(altitude_m)) / 1000.0 == pytest.approx(pressure_kpa, abs=0.01)


@pytest.mark.parametrize(
    ("pressure_kpa", "t_c"),
    [
        (95, 98.18),
        (97, 98.76),
        (99, 99.33),
        (100, 99.61),
        (101.325, 99.97),
        (102, 100.16),
        (103, 100.43),
        (104, 100.71),
    ],
)
def test_boiling_point_at_the_pressures_of_the_weather(pressure_kpa: float, t_c: float) -> None:
    # IAPWS-IF97 saturation line.
    assert boiling_point_c(1000.0 * pressure_kpa) == pytest.approx(t_c, abs=0.0051)


def test_boiling_point_falls_by_a_kelvin_in_300_metres() -> None:
    # Water Boiling Test 4.2.3, fallback rule T_b = 100 - h/300 (from memory), in a standard atmosphere.
    altitude_m = np.arange(0.0, 4001.0, 250.0)
    assert boiling_point_c(pressure_at_altitude_pa(altitude_m)) == pytest.approx(100.0 - altitude_m / 300.0, abs=0.06)


def test_a_hectopascal_moves_the_boiling_point_by_28_millikelvin() -> None:
    # IAPWS-IF97: dT/dp = 0.277 K/kPa at 100 degC.
    boil_c = boiling_point(Place(pressure_pa=ufloat(101_325.0, 100.0)))
    assert boil_c.n == pytest.approx(99.974, abs=5e-4)
    assert boil_c.s == pytest.approx(0.0277, abs=2e-4)
