from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline.bench.channels import Role, Warmth, default_channel
from emberline.curves.grid import Column, Grid
from emberline.curves.warmth import TRAILING_S, warming_k, without_warmth

N = 600


def column(value: NDArray[np.float64]) -> Column:
    n = len(value)
    return Column(np.arange(n, dtype=np.float64) + 0.5, value, np.full(n, 0.1), np.isfinite(value).astype(np.int64))


def test_the_rise_follows_the_thermometer_and_lags_by_half_a_minute() -> None:
    cell_c = 20.0 + np.arange(N) / 60.0
    rise = warming_k(column(cell_c))
    assert rise[0] == 0.0
    assert rise[-1] == pytest.approx(cell_c[-1] - 20.0 - TRAILING_S / 120.0, abs=0.02)


def test_a_slow_or_silent_thermometer_leaves_no_holes_and_no_steps() -> None:
    cell_c = np.full(N, np.nan)
    cell_c[3:300:2] = 21.0
    rise = warming_k(column(cell_c))
    assert np.all(np.isfinite(rise))
    assert np.all(rise == 0.0)
    assert np.all(warming_k(column(np.full(N, np.nan))) == 0.0)


def test_what_a_live_run_takes_off_stays_as_the_record_grows() -> None:
    cell_c = 20.0 + np.random.default_rng(2).normal(0.0, 0.5, N).cumsum() * 0.05
    whole = warming_k(column(cell_c))
    for n in (1, 59, 61, 400):
        np.testing.assert_array_equal(warming_k(column(cell_c[:n])), whole[:n])


def test_the_drift_is_taken_off_where_it_is_known_and_measured() -> None:
    cell_c = 20.0 + np.linspace(0.0, 10.0, N)
    shown_g = 500.0 + 0.3 * (cell_c - 20.0)
    known = {Role.MASS: default_channel(Role.MASS)}
    warm = {Role.MASS: replace(known[Role.MASS], warmth=Warmth(0.3, 0.01, 0.2))}
    grid = Grid(N, {Role.MASS: column(shown_g), Role.CELL_TEMPERATURE: column(cell_c)})
    corrected = without_warmth(grid, warm)
    assert corrected.columns[Role.MASS].value == pytest.approx(500.0, abs=0.3)
    assert np.ptp(corrected.columns[Role.MASS].value[TRAILING_S:]) < 0.1
    assert corrected.columns[Role.CELL_TEMPERATURE].value is grid.columns[Role.CELL_TEMPERATURE].value
    assert without_warmth(grid, known).columns[Role.MASS].value is grid.columns[Role.MASS].value
    bare = Grid(N, {Role.MASS: column(shown_g)})
    assert without_warmth(bare, warm) is bare
