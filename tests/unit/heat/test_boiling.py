"""When water boils, on temperatures drawn by hand."""

import numpy as np
from numpy.typing import NDArray

from emberline.heat.boiling import boiling_seconds

BOILING_C, N = 98.5, 1000
ALL = np.ones(N, dtype=np.bool_)


def warmed() -> NDArray[np.float64]:
    """Water that boils from 300 s on, is lifted at 500 s, set back at 540 s with 97.5 °C, and cools from 800 s on."""
    t = np.arange(N) + 0.5
    at_c = [20.0, BOILING_C, BOILING_C, 97.5, BOILING_C, BOILING_C, 80.0]
    return np.asarray(np.interp(t, [0, 300, 500, 540, 560, 800, 1000], at_c), dtype=np.float64)


def seconds(a: int, b: int) -> NDArray[np.bool_]:
    return np.asarray((np.arange(N) >= a) & (np.arange(N) < b))


def test_water_that_never_boiled_does_not() -> None:
    assert not boiling_seconds(warmed(), [], 0.0, ALL).any()


def test_it_boils_from_the_boil_until_it_cools() -> None:
    boiling = boiling_seconds(warmed(), [300.0], 0.0, ALL)
    # 1.5 K below the plateau is reached 16 s after it begins to cool.
    np.testing.assert_array_equal(boiling, seconds(300, 816))


def test_a_pot_that_is_set_back_as_hot_boils_on_though_no_ramp_tells_so() -> None:
    stay = seconds(540, N)
    np.testing.assert_array_equal(boiling_seconds(warmed(), [300.0], 540.0, stay), seconds(540, 816))


def test_a_pot_that_is_set_back_cooler_boils_once_it_is_hot() -> None:
    water_c = warmed()
    water_c[540:700] = np.linspace(60.0, BOILING_C, 160)
    boiling = boiling_seconds(water_c, [300.0, 698.0], 540.0, seconds(540, N))
    assert not boiling[540:690].any()
    assert boiling[698:816].all()


def test_seconds_that_nobody_read_count_only_once_it_boils() -> None:
    water_c = warmed()
    water_c[600:640] = np.nan
    assert boiling_seconds(water_c, [300.0], 0.0, ALL)[600:640].all()
    assert not boiling_seconds(water_c, [300.0], 540.0, seconds(540, N))[600:640].any()
    water_c[:] = np.nan
    np.testing.assert_array_equal(boiling_seconds(water_c, [300.0], 0.0, ALL), seconds(300, N))
