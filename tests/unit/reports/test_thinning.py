import numpy as np
import pytest

from emberline.heat.result import COVERAGE_95
from emberline.reports.thinning import band, drawn, known, limits


def test_short_curves_are_drawn_whole() -> None:
    t = np.arange(10.0)
    assert drawn(t, t**2, 5)[0] is t


def test_thinned_curves_keep_peaks_order_and_gaps() -> None:
    t = np.arange(10_000.0)
    values = np.sin(t / 500.0)
    values[4321], values[8000:8500] = 7.0, np.nan
    thin_t, thin = drawn(t, values, 100)
    assert len(thin) <= 200
    assert np.nanmax(thin) == 7.0
    assert (np.diff(thin_t) > 0).all()
    assert np.isnan(thin[(thin_t >= 8000) & (thin_t < 8500)]).any()


def test_limits_hold_all_ordinary_values_and_leave_out_absurd_ones() -> None:
    values = np.linspace(0.0, 100.0, 1000)
    low, high = limits(values)
    assert [low, high] == pytest.approx([-5.0, 105.0])
    values[500] = 9e4
    assert limits(values)[1] < 170.0


def test_limits_of_a_constant_curve_have_room() -> None:
    assert limits(np.array([5.0, np.nan, 5.0])) == (4.5, 5.5)


def test_the_band_is_the_95_percent_interval() -> None:
    t, low, high = band(np.arange(4.0), np.full(4, 10.0), np.full(4, 2.0), 10)
    assert len(t) == 4
    assert low == pytest.approx(np.full(4, 10.0 - 2.0 * COVERAGE_95))
    assert high == pytest.approx(np.full(4, 10.0 + 2.0 * COVERAGE_95))
    assert len(band(np.arange(1001.0), np.ones(1001), np.ones(1001), 100)[0]) <= 100


def test_known() -> None:
    assert known(np.array([np.nan, 1.0]))
    assert not known(np.array([np.nan, np.inf]))
    assert not known(np.array([]))
