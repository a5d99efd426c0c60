import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.errors import CalibrationError
from emberline.bench.samples import Curve
from emberline.trials.calibrating.warm_up import drift_of

SECONDS = 2400


def curves(zero_g: NDArray[np.float64] | None = None) -> dict[Role, Curve]:
    """Forty minutes in which the cell is warmed by ten kelvin and cools by five."""
    rng = np.random.default_rng(8)
    t_s = np.arange(SECONDS, dtype=np.float64) + 0.5
    cell_c = 18.0 + 10.0 * np.interp(t_s, [0.0, 1200.0, 2400.0], [0.0, 1.0, 0.5])
    shown_g = 3.0 + 0.2 * (cell_c - 18.0) + rng.normal(0.0, 0.1, SECONDS) if zero_g is None else zero_g
    return {Role.MASS: Curve(t_s, shown_g), Role.CELL_TEMPERATURE: Curve(t_s[::2], cell_c[::2])}


def test_the_drift_is_found_minute_by_minute() -> None:
    fit = drift_of(curves())
    assert fit.g_per_k == pytest.approx(0.2, abs=2.0 * fit.u_g_per_k + 1e-3)
    assert fit.rise_k == pytest.approx(10.0, abs=0.5)
    assert fit.hysteresis_g == pytest.approx(0.0, abs=0.1)


def test_a_minute_without_readings_is_left_out() -> None:
    whole = curves()
    kept = (whole[Role.MASS].t_s < 600.0) | (whole[Role.MASS].t_s >= 720.0)
    whole[Role.MASS] = Curve(whole[Role.MASS].t_s[kept], whole[Role.MASS].value[kept])
    assert drift_of(whole).g_per_k == pytest.approx(0.2, abs=0.02)


def test_something_laid_on_meanwhile_is_refused() -> None:
    shown = curves()[Role.MASS].value.copy()
    shown[1500:] += 25.0
    with pytest.raises(CalibrationError, match=r"the load changed by \+2\d\.\d g in minute 26"):
        drift_of(curves(shown))


def test_a_burn_taken_for_a_warm_up_is_refused() -> None:
    t_s = curves()[Role.MASS].t_s
    with pytest.raises(CalibrationError, match="something burnt"):
        drift_of(curves(700.0 - 0.15 * t_s))


def test_without_a_thermometer_on_the_cell_nothing_can_be_fitted() -> None:
    with pytest.raises(CalibrationError, match="does not measure its load cell's temperature"):
        drift_of({Role.MASS: curves()[Role.MASS]})
