"""Thermocouple functions against the tables of NIST SRD 60, which IEC 60584-1 and ASTM E230 share."""

import numpy as np
import pytest

from emberline.bench.thermocouple import cold_junction_corrected_c, emf_mv, temperature_c, tolerance_c

# NIST SRD 60 / IEC 60584-1 reference tables, junction at 0 degC, mV. From 0 to 1000 degC every 20 to 200 K as far as a
# stove needs them; the ends of the ranges and the values below 0 degC from memory of the printed tables.
TABLES = {
    "K": {
        -200: -5.891, -100: -3.554, 0: 0.0, 20: 0.798, 25: 1.000, 50: 2.023, 90: 3.682, 95: 3.889, 98: 4.013,
        100: 4.096, 105: 4.303, 200: 8.138, 400: 16.397, 500: 20.644, 600: 24.905, 800: 33.275, 1000: 41.276,
        1200: 48.838, 1372: 54.886,
    },
    "J": {
        -200: -7.890, -100: -4.633, 0: 0.0, 20: 1.019, 25: 1.277, 50: 2.585, 90: 4.726, 95: 4.997, 98: 5.160,
        100: 5.269, 105: 5.541, 200: 10.779, 400: 21.848, 600: 33.102, 760: 42.919, 800: 45.494, 1000: 57.953,
        1200: 69.553,
    },
    "N": {
        -200: -3.990, -100: -2.407, 0: 0.0, 20: 0.525, 25: 0.659, 50: 1.340, 90: 2.480, 95: 2.626, 98: 2.715,
        100: 2.774, 105: 2.923, 200: 5.913, 400: 12.974, 600: 20.613, 800: 28.455, 1000: 36.256, 1300: 47.513,
    },
    "T": {
        -200: -5.603, -100: -3.379, 0: 0.0, 20: 0.790, 25: 0.992, 50: 2.036, 90: 3.814, 95: 4.046, 98: 4.185,
        100: 4.279, 105: 4.513, 200: 9.288, 400: 20.872,
    },
}  # fmt: skip
HALF_A_DIGIT_MV = 0.00051
POINTS = [(kind, float(t_c), e_mv) for kind, table in TABLES.items() for t_c, e_mv in table.items()]


@pytest.mark.parametrize(("kind", "t_c", "e_mv"), POINTS)
def test_voltage_agrees_with_the_printed_table(kind: str, t_c: float, e_mv: float) -> None:
    assert emf_mv(kind, t_c) == pytest.approx(e_mv, abs=HALF_A_DIGIT_MV)


# NIST SRD 60, inverse coefficients of type K: (upper end in mV, d0, d1, ...); published error -0.05 to +0.06 K.
INVERSE_K = (
    (20.644, (0.0, 25.08355, 7.860106e-2, -2.503131e-1, 8.315270e-2, -1.228034e-2, 9.804036e-4, -4.413030e-5,
              1.057734e-6, -1.052755e-8)),
    (54.886, (-131.8058, 48.30222, -1.646031, 5.464731e-2, -9.650715e-4, 8.802193e-6, -3.110810e-8)),
)  # fmt: skip


def test_type_k_temperatures_agree_with_the_published_inverse_polynomials() -> None:
    low = 0.0
    for high, coefficients in INVERSE_K:
        e_mv = np.linspace(low, high, 400)
        published_c = np.polynomial.polynomial.polyval(e_mv, coefficients)
        difference_c = published_c - temperature_c("K", e_mv)
        assert difference_c.min() > -0.055
        assert difference_c.max() < 0.065
        low = high


@pytest.mark.parametrize(
    ("kind", "at_25", "at_100"), [("K", 40.5, 41.4), ("J", 51.8, 54.4), ("N", 26.8, 29.6), ("T", 40.7, 46.8)]
)
def test_sensitivity_agrees_with_the_printed_table(kind: str, at_25: float, at_100: float) -> None:
    # NIST SRD 60, Seebeck coefficients in microvolts per kelvin.
    for t_c, expected in ((25.0, at_25), (100.0, at_100)):
        assert 500.0 * (emf_mv(kind, t_c + 1.0) - emf_mv(kind, t_c - 1.0)) == pytest.approx(expected, abs=0.06)


def test_cold_junction_is_added_as_voltage() -> None:
    # NIST SRD 60: 100 degC against a cold junction at 25 degC gives 4.0962 - 1.0002 = 3.0960 mV (table values).
    assert cold_junction_corrected_c("K", 3.0960, 25.0) == pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize(
    ("kind", "klass", "t_c", "limit_c"),
    [
        # IEC 60584-1, tolerances of unused wire: the larger of the fixed part and the share of |t|.
        ("K", 1, 100.0, 1.5), ("K", 1, 800.0, 3.2), ("K", 2, 100.0, 2.5), ("K", 2, 1000.0, 7.5),
        ("N", 1, 100.0, 1.5), ("N", 2, 800.0, 6.0), ("J", 1, 700.0, 2.8), ("J", 2, 100.0, 2.5),
        ("T", 1, 100.0, 0.5), ("T", 1, 300.0, 1.2), ("T", 2, 100.0, 1.0), ("T", 2, 300.0, 2.25),
    ],
)  # fmt: skip
def test_tolerance_agrees_with_the_standard(kind: str, klass: int, t_c: float, limit_c: float) -> None:
    assert tolerance_c(kind, klass, t_c) == pytest.approx(limit_c)
