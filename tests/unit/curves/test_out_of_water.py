"""A probe that comes out of its pot, on curves by hand."""

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from emberline.curves.loads import Stay
from emberline.curves.mass_steps import MassStep
from emberline.curves.out_of_water import without_air

Array = NDArray[np.float64]
N, ON_S, OFF_S, OUT_S = 1500, 100, 1400, 800
T_S = np.arange(float(N))


def step(at_s: int, size_g: float) -> MassStep:
    return MassStep(at_s - 1, at_s, ufloat(size_g, 0.2, "mass_step"), abs(size_g), ufloat(at_s, 0.3))


STAYS = (Stay(step(ON_S, 900.0), step(OFF_S, -800.0)),)
BOILS_C = np.minimum(20.0 + 0.16 * np.maximum(T_S - ON_S, 0.0), 98.0)


def in_air_from(out_s: float, back_s: float = np.inf, tau_s: float = 20.0) -> Array:
    """A probe that hangs in air of 40 °C for a while."""
    air = 40.0 + 58.0 * np.exp(-np.maximum(T_S - out_s, 0.0) / tau_s)
    return np.where((out_s <= T_S) & (back_s > T_S), air, BOILS_C)


@pytest.mark.parametrize("tau_s", [5.0, 20.0, 90.0])
def test_what_a_probe_reads_in_air_is_no_water(tau_s: float) -> None:
    read = without_air(in_air_from(OUT_S, tau_s=tau_s), STAYS, ())
    assert np.isnan(read[OUT_S + 10 : OFF_S - 1]).all()
    np.testing.assert_array_equal(read[: OUT_S - 20], BOILS_C[: OUT_S - 20])


def test_a_probe_that_is_put_back_is_believed_again() -> None:
    read = without_air(in_air_from(OUT_S, back_s=1000.0), STAYS, ())
    assert np.isnan(read[OUT_S + 10 : 1000]).all()
    np.testing.assert_array_equal(read[1005:OFF_S], BOILS_C[1005:OFF_S])


def test_a_small_pot_that_cools_without_a_fire_is_water() -> None:
    # A quarter of a litre from 98 °C: 400 W over 1.25 kJ/K at first, slower as it cools.
    cools = np.where(T_S < OUT_S, BOILS_C, 25.0 + 73.0 * np.exp(-np.maximum(T_S - OUT_S, 0.0) / 260.0))
    np.testing.assert_array_equal(without_air(cools, STAYS, ()), cools)


def test_cold_water_poured_in_is_water() -> None:
    poured = np.where(T_S < OUT_S, BOILS_C, 70.0)
    np.testing.assert_array_equal(without_air(poured, STAYS, (step(OUT_S, 300.0),)), poured)
    assert np.isnan(without_air(poured, STAYS, ())).any()


def test_a_pot_that_is_lifted_takes_its_probe_along() -> None:
    lifted = in_air_from(OFF_S)
    np.testing.assert_array_equal(without_air(lifted, STAYS, ()), lifted)


def test_gaps_and_short_stays_are_left_alone() -> None:
    gap = np.where((T_S > 500) & (T_S < 560), np.nan, BOILS_C)
    np.testing.assert_array_equal(without_air(gap, STAYS, ()), gap)
    short = (Stay(step(790, 900.0), step(815, -900.0)),)
    np.testing.assert_array_equal(without_air(in_air_from(OUT_S), short, ()), in_air_from(OUT_S))
