"""What the ledger hands over: the account of the load cell, second by second and in whole sums."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.curves.events import Phase


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay of the pot on the stove, from being set down to being lifted.

    Attributes:
        pot_on_s: Moment when the pot stood; 0 where it stood there before the record began.
        pot_off_s: Moment when it was lifted; None where it never was.
        end_s: `pot_off_s`, or the end of the record.
        boil_s: When its water boiled; None where it did not.
        water_start_g: Water in the pot at `pot_on_s`; None where nobody weighed it.
        water_start_c: Water temperature at `pot_on_s`; None without a probe or a plan's value.
        water_boil_c: Temperature of the boiling plateau as the probe reads it; None where the water did not boil.
        water_heat_end_c: Water temperature when the pot stopped taking flame heat, at the earlier of `end_s` and
            flameout.
        evaporated_g: Water lost from `pot_on_s` to `end_s`; None where it cannot be told.
        evaporated_flaming_g: Water lost from `pot_on_s` to the earlier of `end_s` and flameout; None likewise.
        known_by: How the water is known, in words for a person.
        heat_end_slope_k_s: How fast the water warmed when it stopped taking flame heat, K/s.
        evaporates_at_c: Temperature at which water left while flame heated it, mean by mass; None without a curve.
        unread_s: Longest stretch in which the water's temperature was not read, though it was at other times of the
            stay; None where there was none.
    """

    pot_on_s: float
    pot_off_s: float | None
    end_s: float
    boil_s: float | None
    water_start_g: UFloat | None
    water_start_c: UFloat | None
    water_boil_c: UFloat | None
    water_heat_end_c: UFloat | None
    evaporated_g: UFloat | None
    evaporated_flaming_g: UFloat | None
    known_by: str
    heat_end_slope_k_s: float = 0.0
    evaporates_at_c: UFloat | None = None
    unread_s: tuple[float, float] | None = None


def _no_water_lost(a_s: float, b_s: float) -> UFloat | None:
    return None


@dataclass(frozen=True, slots=True, eq=False)
class Account:
    """Fuel and water told apart on the load cell.

    The arrays lie on the 1 Hz grid (second `i` at `t_s[i]`) and are NaN where a value cannot be known.

    Attributes:
        t_s: (n,) seconds from the trial's first sample.
        fuel_g: (n,) fuel, char and starter still on the load cell.
        u_fuel_g: (n,) its standard uncertainty.
        water_g: (n,) water in the pot that stands on the stove; NaN while none does.
        burning_rate_g_min: (n,) mass lost by fuel, char and starter, grams a minute.
        u_burning_rate_g_min: (n,) its standard uncertainty.
        phase: (n,) the phase of each second.
        visits: The pot's stays, in order.
        fuel_in_g: Moist fuel put in (first fill, kindling, refuels), starter not counted; None where unknown.
        fuel_lost: Mass lost by fuel, char and starter between two moments, as an uncertain number whose named parts
            (load cell span, drift, water account, curve) are shared between calls, so that ratios keep their
            correlation. Raises ValueError outside the record.
        has_mass: Whether the bench has a load cell at all.
        water_lost: Water that left the pot between two moments, in the same variables; None where there was no pot or
            nobody can tell.
    """

    t_s: NDArray[np.float64]
    fuel_g: NDArray[np.float64]
    u_fuel_g: NDArray[np.float64]
    water_g: NDArray[np.float64]
    burning_rate_g_min: NDArray[np.float64]
    u_burning_rate_g_min: NDArray[np.float64]
    phase: tuple[Phase, ...]
    visits: tuple[Visit, ...]
    fuel_in_g: UFloat | None
    fuel_lost: Callable[[float, float], UFloat]
    has_mass: bool
    water_lost: Callable[[float, float], UFloat | None] = _no_water_lost
