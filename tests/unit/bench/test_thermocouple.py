import numpy as np
import pytest

from emberline.bench.thermocouple import (
    KINDS,
    LOWEST_C,
    OutOfRangeError,
    cold_junction_corrected_c,
    emf_mv,
    temperature_c,
    tolerance_c,
    tolerance_parts,
    upper_limit_c,
)


@pytest.mark.parametrize("kind", KINDS)
def test_there_and_back(kind: str) -> None:
    t_c = np.linspace(LOWEST_C, upper_limit_c(kind), 3001)
    there = emf_mv(kind, t_c)
    assert np.all(np.diff(there) > 0)
    assert temperature_c(kind, there) == pytest.approx(t_c, abs=1e-8)


def test_floats_give_floats_and_arrays_keep_their_shape() -> None:
    assert isinstance(emf_mv("K", 100.0), float)
    assert isinstance(temperature_c("K", 4.096), float)
    assert isinstance(cold_junction_corrected_c("K", 3.0, 25.0), float)
    assert emf_mv("T", np.zeros((2, 3))).shape == (2, 3)
    assert temperature_c("T", np.array([])).shape == (0,)


def test_nan_passes_through() -> None:
    assert np.isnan(emf_mv("K", np.array([np.nan, 100.0]))).tolist() == [True, False]
    assert np.isnan(temperature_c("K", np.array([np.nan, 4.0]))).tolist() == [True, False]


@pytest.mark.parametrize("t_c", [-200.1, 1372.1, float("inf")])
def test_temperatures_that_the_wire_does_not_serve_are_refused(t_c: float) -> None:
    with pytest.raises(OutOfRangeError, match="outside the range of type K"):
        emf_mv("K", t_c)


def test_voltages_that_the_wire_cannot_give_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match=r"60 mV is outside"):
        temperature_c("K", np.array([4.0, 60.0]))


def test_unknown_types_and_classes_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="use one of K, J, N, T"):
        emf_mv("X", 20.0)
    with pytest.raises(OutOfRangeError, match="class 3"):
        tolerance_c("K", 3, 20.0)
    with pytest.raises(OutOfRangeError, match="specified from -40 to 350"):
        tolerance_c("T", 1, 400.0)


def test_cold_junction_may_be_an_array() -> None:
    hot_c, cold_c = np.array([20.0, 60.0, 99.0]), np.array([20.0, 24.0, 31.0])
    measured = emf_mv("N", hot_c) - emf_mv("N", cold_c)
    assert cold_junction_corrected_c("N", measured, cold_c) == pytest.approx(hot_c)


def test_tolerance_parts_meet_where_the_share_takes_over() -> None:
    fixed_c, share = tolerance_parts("K", 2)
    at = fixed_c / share
    assert tolerance_c("K", 2, at - 10.0) == fixed_c
    assert tolerance_c("K", 2, at + 30.0) == pytest.approx(fixed_c + 30.0 * share)
