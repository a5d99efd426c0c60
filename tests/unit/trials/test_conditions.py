"""Conditions of a trial: measured ones take precedence over the plan's."""

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from emberline.bench.channels import Role
from emberline.bench.plan import parse_plan
from emberline.bench.samples import Curve
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Grid, grid_of
from emberline.trials.conditions import Conditions, conditions_of

BOILING = ufloat(98.6, 0.3)
EVENTS = (Event(EventKind.LIT, 100.0, 1.0, "lit"), Event(EventKind.POT_ON, 120.0, 1.0, "on"))
PLAN = parse_plan("[place]\nambient_c = 18.0\npressure_pa = 97000\n[pot]\ntare_g = 400\nwater_start_c = 15.0\n")


def grid(**values: NDArray[np.float64]) -> Grid:
    t_s = np.arange(600, dtype=np.float64) + 0.5
    return grid_of({Role(name): Curve(t_s, value) for name, value in values.items()})


def test_nothing_known_is_none() -> None:
    found = conditions_of(grid(mass=np.full(600, 900.0)), parse_plan(""), (), BOILING, None)
    assert found == Conditions()


def test_the_plan_serves_where_no_channel_does() -> None:
    found = conditions_of(grid(mass=np.full(600, 900.0)), PLAN, EVENTS, BOILING, np.full(600, 0.3))
    assert (found.air_c, found.pressure_pa, found.load_wavering_g) == (18.0, 97_000.0, 0.3)
    assert found.water_rise_k == pytest.approx(83.6)


def test_channels_take_precedence() -> None:
    water = np.where(np.arange(600) < 120, 25.0, 12.0 + 0.1 * (np.arange(600) - 120))
    measured = grid(ambient=np.full(600, 9.0), pressure=np.full(600, 98_500.0), water=water)
    found = conditions_of(measured, PLAN, EVENTS, BOILING, None)
    assert found.air_c == 9.0
    assert found.pressure_pa == 98_500.0
    assert found.water_rise_k == pytest.approx(98.6 - 12.45)


def test_carbon_monoxide_counts_from_lighting() -> None:
    co = np.where(np.arange(600) < 100, 900.0, 20.0)
    co[300] = 65.0
    co[301] = np.nan
    found = conditions_of(grid(co=co), parse_plan(""), EVENTS, BOILING, None)
    assert found.co_highest_ppm == 65.0
    assert found.co_mean_ppm == pytest.approx(20.0 + 45.0 / 499)
