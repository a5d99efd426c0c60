import pytest
from uncertainties import ufloat

from emberline.bench.errors import CalibrationError
from emberline.bench.probe_fit import BOILING, ICE, Bath, fit_probe, true_temperature

ICED = Bath(ICE, 0.8, 0.05, 0.0, 0.06)
BOILED = Bath(BOILING, 98.0, 0.08, 99.6, 0.1)


def test_the_correction_is_what_is_missing_in_boiling_water() -> None:
    fit = fit_probe([BOILED])
    assert fit.correction_c == pytest.approx(1.6)
    assert fit.u_correction_c == pytest.approx((0.08**2 + 0.1**2) ** 0.5)
    assert fit.grows_c is None


def test_ice_alone_gives_a_correction_too() -> None:
    assert fit_probe([ICED]).correction_c == pytest.approx(-0.8)


def test_a_probe_whose_error_grows_is_less_sure() -> None:
    fit = fit_probe([ICED, BOILED])
    assert fit.correction_c == pytest.approx(1.6)
    assert fit.grows_c == pytest.approx(2.4)
    assert fit.u_correction_c == pytest.approx(2.4 / 3.0**0.5, abs=0.02)


@pytest.mark.parametrize(
    ("bath", "words"),
    [
        (Bath(ICE, 60.0, 0.1, 0.0, 0.06), "60.0 °C is no ice water"),
        (Bath(ICE, 23.5, 0.1, 0.0, 0.06), "shorted"),
        (Bath(BOILING, 88.0, 0.1, 99.7, 0.1), "88.0 °C is no boiling water here, which has 99.7 °C"),
    ],
)
def test_what_is_no_such_bath_is_refused(bath: Bath, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        fit_probe([bath])


def test_nothing_compared_gives_nothing() -> None:
    with pytest.raises(CalibrationError, match="in ice, in boiling water, or in both"):
        fit_probe([])


def test_water_boils_a_little_hotter_below_its_surface() -> None:
    true_c, u_true_c = true_temperature(BOILING, ufloat(99.0, 0.4))
    assert 99.05 < true_c < 99.2
    assert u_true_c > 0.4
    assert true_temperature(ICE, ufloat(99.0, 0.4))[0] == 0.0
