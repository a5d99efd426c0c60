from statistics import NormalDist

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.samples import Curve
from emberline.curves.grid import MAD_TO_SD, Column, grid_of, second_of


def irregular(seed: int, n: int = 3000, last_s: float = 200.0) -> Curve:
    """A curve of irregular sampling with gaps, faults and outliers."""
    rng = np.random.default_rng(seed)
    t_s = np.sort(rng.uniform(0.0, last_s, n))
    t_s = t_s[(t_s < 50.0) | (t_s > 62.3)]
    value = 700.0 - 0.2 * t_s + rng.normal(0.0, 0.3, len(t_s))
    value[rng.random(len(t_s)) < 0.02] = 8388.0
    value[rng.random(len(t_s)) < 0.05] = np.nan
    return Curve(t_s, value)


def mass(curve: Curve, seconds: int | None = None) -> Column:
    return grid_of({Role.MASS: curve}, seconds).columns[Role.MASS]


def test_the_factor_is_that_of_a_normal_distribution() -> None:
    assert pytest.approx(1.0 / NormalDist().inv_cdf(0.75), abs=5e-5) == MAD_TO_SD


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_seconds_agree_with_numpy_a_second_at_a_time(seed: int) -> None:
    curve = irregular(seed)
    grid = mass(curve)
    assert len(grid) == int(curve.t_s[-1]) + 1
    for i in range(len(grid)):
        inside = (np.floor(curve.t_s) == i) & np.isfinite(curve.value)
        t_s, value = curve.t_s[inside], curve.value[inside]
        assert grid.count[i] == len(value)
        if len(value) == 0:
            assert np.isnan(grid.value[i])
            assert grid.t_s[i] == i + 0.5
            continue
        assert grid.value[i] == np.median(value)
        assert grid.t_s[i] == pytest.approx(np.mean(t_s), rel=1e-12)
        if len(value) < 3:
            assert np.isnan(grid.spread[i])
        else:
            assert grid.spread[i] == pytest.approx(MAD_TO_SD * np.median(np.abs(value - np.median(value))), rel=1e-9)


def test_the_order_of_arrival_does_not_matter() -> None:
    curve = irregular(4)
    shuffled = np.random.default_rng(5).permutation(len(curve.t_s))
    one, other = mass(curve, 200), mass(Curve(curve.t_s[shuffled], curve.value[shuffled]), 200)
    for name in ("value", "spread", "count"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    np.testing.assert_allclose(one.t_s, other.t_s, rtol=1e-13)


def test_a_live_run_sees_the_same_seconds_as_the_final_pass() -> None:
    curve = irregular(6)
    whole = grid_of({Role.MASS: curve})
    for second in (1, 49, 57, 120):
        known = curve.t_s < second
        live = mass(Curve(curve.t_s[known], curve.value[known]), second)
        then = whole.upto(second).columns[Role.MASS]
        np.testing.assert_array_equal(live.value, then.value)
        np.testing.assert_array_equal(live.t_s, then.t_s)


@pytest.mark.parametrize("since", [0, 1, 49, 57, 120])
def test_a_part_of_the_grid_is_the_grid_from_there_on(since: int) -> None:
    curve = irregular(8)
    whole, part = grid_of({Role.MASS: curve}, 200), grid_of({Role.MASS: curve}, 200, since=since)
    assert part.n == 200 - since
    for name in ("t_s", "value", "spread", "count"):
        np.testing.assert_array_equal(
            getattr(part.columns[Role.MASS], name), getattr(whole.columns[Role.MASS], name)[since:]
        )


def test_a_median_is_not_moved_by_a_converter_that_jumps() -> None:
    t_s = np.arange(0.05, 10.0, 0.1)
    value = np.full(len(t_s), 500.0)
    value[::4] = -8388.608
    np.testing.assert_array_equal(mass(Curve(t_s, value)).value, np.full(10, 500.0))


def test_channels_of_different_length_share_one_grid() -> None:
    curves = {
        Role.WATER: Curve(np.array([0.2, 3.7]), np.array([20.0, 21.0])),
        Role.MASS: Curve(np.array([0.1, 6.2]), np.array([500.0, 499.0])),
        Role.FLAME: Curve(np.zeros(0), np.zeros(0)),
    }
    grid = grid_of(curves)
    assert grid.n == 7
    assert {len(column) for column in grid.columns.values()} == {7}
    assert np.isnan(grid.columns[Role.FLAME].value).all()
    np.testing.assert_array_equal(grid.columns[Role.WATER].value, [20.0, np.nan, np.nan, 21.0, np.nan, np.nan, np.nan])
    assert grid.get(Role.PRESSURE) is None


@pytest.mark.parametrize("t_s", [np.array([-0.5, 0.5]), np.array([np.nan, 0.5]), np.array([0.5, 99.0])])
def test_samples_outside_the_record_are_left_out(t_s: NDArray[np.float64]) -> None:
    column = mass(Curve(t_s, np.array([1.0, 1.0])), 3)
    assert column.count.tolist() == [1, 0, 0]


def test_no_samples_make_an_empty_grid() -> None:
    assert grid_of({}).n == 0
    grid = grid_of({Role.MASS: Curve(np.zeros(0), np.zeros(0))})
    assert (grid.n, len(grid.columns[Role.MASS])) == (0, 0)


def test_upto_never_reaches_beyond_the_record() -> None:
    grid = grid_of({Role.MASS: irregular(7)})
    assert grid.upto(10_000).n == grid.n
    assert len(grid.upto(12).columns[Role.MASS]) == 12


@pytest.mark.parametrize("seed", range(20))
def test_a_second_by_itself_is_to_the_bit_what_it_is_on_the_grid_of_the_whole_record(seed: int) -> None:
    curve = irregular(seed, n=[40, 300, 2_000, 8_000][seed % 4])
    grid = mass(curve)
    for i in np.flatnonzero(grid.count).tolist():
        inside = (np.floor(curve.t_s) == i) & np.isfinite(curve.value)
        alone = second_of(curve.t_s[inside].tolist(), curve.value[inside].tolist())
        np.testing.assert_array_equal(alone, [grid.t_s[i], grid.value[i], grid.spread[i]])
