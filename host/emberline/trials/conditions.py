"""Under what a trial was burnt: what was measured of it, else what the plan says."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from emberline.bench.channels import Role
from emberline.bench.plan import Plan
from emberline.curves.events import Event, EventKind, first
from emberline.curves.grid import Column, Grid


@dataclass(frozen=True, slots=True)
class Conditions:
    """Conditions of a trial; None where neither a channel nor the plan tells.

    Attributes:
        air_c: Mean temperature of the air, degrees.
        pressure_pa: Mean station pressure.
        load_wavering_g: Typical wavering of the load within ten seconds, as the wind makes it, grams.
        water_rise_k: From the water's temperature when the pot went on to the local boiling point, kelvins.
        co_mean_ppm: Mean carbon monoxide where the sensor stands, from lit to the end of the record.
        co_highest_ppm: Its highest second.
    """

    air_c: float | None = None
    pressure_pa: float | None = None
    load_wavering_g: float | None = None
    water_rise_k: float | None = None
    co_mean_ppm: float | None = None
    co_highest_ppm: float | None = None


NOTHING_KNOWN = Conditions()
"""Conditions of a trial of which neither a channel nor the plan tells."""


def conditions_of(
    grid: Grid, plan: Plan, events: tuple[Event, ...], boiling_point: UFloat, noise_g: NDArray[np.float64] | None
) -> Conditions:
    """Return a trial's conditions.

    Args:
        grid: The record.
        plan: What a person said.
        events: The trial's events.
        boiling_point: Local boiling point, degrees.
        noise_g: (n,) noise of the mass over some ten seconds; None without a load cell.
    """
    lit, pot_on = first(events, EventKind.LIT), first(events, EventKind.POT_ON)
    columns = grid.columns
    from_lit = 0 if lit is None else max(0, int(lit.t_s))
    co = _values(columns, Role.CO)[from_lit:]
    water = _values(columns, Role.WATER)
    start_c = _of(None if plan.pot is None else plan.pot.water_start_c)
    if pot_on is not None and len(water):
        at = min(max(0, int(pot_on.t_s)), len(water) - 1)
        before = water[at : at + 10]
        before = before[np.isfinite(before)]
        start_c = float(np.median(before)) if len(before) else start_c
    boiling_c = float(nominal_value(boiling_point))
    return Conditions(
        air_c=_mean(_values(columns, Role.AMBIENT), _of(plan.place.ambient_c)),
        pressure_pa=_mean(_values(columns, Role.PRESSURE), _of(plan.place.pressure_pa)),
        load_wavering_g=None if noise_g is None or not len(noise_g) else float(np.median(noise_g)),
        water_rise_k=None if start_c is None else boiling_c - start_c,
        co_mean_ppm=_mean(co, None),
        co_highest_ppm=float(np.nanmax(co)) if np.isfinite(co).any() else None,
    )


def _values(columns: Mapping[Role, Column], role: Role) -> NDArray[np.float64]:
    return columns[role].value if role in columns else np.empty(0)


def _mean(values: NDArray[np.float64], otherwise: float | None) -> float | None:
    return float(np.nanmean(values)) if np.isfinite(values).any() else otherwise


def _of(value: UFloat | None) -> float | None:
    return None if value is None else float(nominal_value(value))
