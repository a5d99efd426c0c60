"""Air and boiling: pressure at an altitude, saturation pressure, and the local boiling point of water."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat, wrap

from emberline.bench.errors import OutOfRangeError

Values = TypeVar("Values", float, NDArray[np.float64])

SEA_LEVEL_PA = 101_325.0
"""Standard pressure at sea level (ISO 2533)."""

U_WEATHER_PA = 1_500.0
"""Standard uncertainty of the pressure at a known altitude, from the weather (common practice, no source); 0.4 K."""

UNKNOWN_ALTITUDE_M = (0.0, 600.0)
"""Where nothing is known, an altitude anywhere in this range is assumed (ours: most people live there)."""

HIGHLANDS_M = (600.0, 3_000.0)
"""Range that is assumed instead where the water itself tells of a higher place: most of the others live there."""

_LAPSE_K_M = 0.0065
_SEA_LEVEL_K = 288.15
_EXPONENT = 5.255880
_LOWEST_M, _HIGHEST_M = -500.0, 11_000.0

_LOWEST_PA, _HIGHEST_PA = 611.213, 22.064e6
_LOWEST_K, _HIGHEST_K = 273.15, 647.096

_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
"""Coefficients n1 to n10 of region 4 (IAPWS R7-97(2012), table 34)."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a trial was burnt. Numbers that nobody knows are None.

    Attributes:
        altitude_m: Height above sea level.
        pressure_pa: Station pressure, not reduced to sea level.
        ambient_c: Air temperature.
        basis: What the altitude rests on where nobody said it.
    """

    altitude_m: UFloat | None = None
    pressure_pa: UFloat | None = None
    ambient_c: UFloat | None = None
    basis: str = ""


def in_highlands(place: Place) -> Place:
    """Return a place of which neither pressure nor altitude is known as one anywhere in `HIGHLANDS_M`."""
    low, high = HIGHLANDS_M
    basis = (
        "what the water shows, as neither pressure nor altitude was given: it stood still as boiling water does"
        f" at {low:.0f} to {high:.0f} m above the sea"
    )
    return replace(place, altitude_m=ufloat((low + high) / 2.0, (high - low) / 12.0**0.5), basis=basis)


def pressure_at_altitude_pa(altitude_m: Values) -> Values:
    """Pressure of the standard atmosphere at an altitude (ISO 2533, troposphere).

    Raises:
        OutOfRangeError: below -500 m or above 11 000 m.
    """
    _refuse_outside(altitude_m, _LOWEST_M, _HIGHEST_M, "an altitude", "m")
    pressure: Values = SEA_LEVEL_PA * (1.0 - _LAPSE_K_M * altitude_m / _SEA_LEVEL_K) ** _EXPONENT
    return pressure


def saturation_pressure_pa(t_c: Values) -> Values:
    """Saturation pressure of water (IAPWS R7-97(2012), region 4, equation 30).

    Raises:
        OutOfRangeError: below 0 degrees or above the critical temperature.
    """
    _refuse_outside(t_c, _LOWEST_K - 273.15, _HIGHEST_K - 273.15, "a water temperature", "degC")
    t_k = np.asarray(t_c, dtype=np.float64) + 273.15
    theta = t_k + _N[8] / (t_k - _N[9])
    a = theta**2 + _N[0] * theta + _N[1]
    b = _N[2] * theta**2 + _N[3] * theta + _N[4]
    c = _N[5] * theta**2 + _N[6] * theta + _N[7]
    pressure = 1e6 * (2.0 * c / (-b + np.sqrt(b**2 - 4.0 * a * c))) ** 4
    return pressure if isinstance(t_c, np.ndarray) else float(pressure)


def boiling_point_c(pressure_pa: Values) -> Values:
    """Boiling temperature of water at a pressure (IAPWS R7-97(2012), region 4, backward equation 31).

    Raises:
        OutOfRangeError: below 611 Pa or above the critical pressure.
    """
    _refuse_outside(pressure_pa, _LOWEST_PA, _HIGHEST_PA, "a pressure", "Pa")
    beta = (np.asarray(pressure_pa, dtype=np.float64) * 1e-6) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - np.sqrt(f**2 - 4.0 * e * g))
    t_c = (_N[9] + d - np.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))) / 2.0 - 273.15
    return t_c if isinstance(pressure_pa, np.ndarray) else float(t_c)


_uncertain_boiling_point: Callable[[UFloat], UFloat] = wrap(lambda pressure_pa: boiling_point_c(float(pressure_pa)))


def boiling_point(place: Place) -> UFloat:
    """Local boiling point of water at its surface, in degrees; its one variable carries the tag `pressure`.

    Station pressure comes first, else the altitude in a standard atmosphere with the weather's share
    (`U_WEATHER_PA`), else an altitude anywhere in `UNKNOWN_ALTITUDE_M`. A probe 5 cm deep reads 0.13 K more, which is
    not included.

    Raises:
        OutOfRangeError: for a pressure or an altitude that no place on land has.
    """
    return _uncertain_boiling_point(_pressure(place))


def boiling_point_basis(place: Place) -> str:
    """Return what `boiling_point` rests on, in words for a person."""
    if place.basis:
        return place.basis
    if place.pressure_pa is not None:
        return f"station pressure {place.pressure_pa.n / 100.0:.0f} hPa"
    if place.altitude_m is not None:
        return f"altitude {place.altitude_m.n:.0f} m and any weather"
    low, high = UNKNOWN_ALTITUDE_M
    return f"neither pressure nor altitude given: {low:.0f} to {high:.0f} m above the sea and any weather assumed"


def _pressure(place: Place) -> UFloat:
    if place.pressure_pa is not None:
        return ufloat(place.pressure_pa.n, place.pressure_pa.s, tag="pressure")
    if place.altitude_m is not None:
        altitude_m, u_altitude_m = float(place.altitude_m.n), float(place.altitude_m.s)
    else:
        low, high = UNKNOWN_ALTITUDE_M
        altitude_m, u_altitude_m = (low + high) / 2.0, (high - low) / 12.0**0.5
    pressure_pa = pressure_at_altitude_pa(altitude_m)
    # Barometric slope: dp/dh = -p * exponent * lapse / T.
    slope_pa_m = pressure_pa * _EXPONENT * _LAPSE_K_M / (_SEA_LEVEL_K - _LAPSE_K_M * altitude_m)
    return ufloat(pressure_pa, float(np.hypot(slope_pa_m * u_altitude_m, U_WEATHER_PA)), tag="pressure")


def _refuse_outside(values: float | NDArray[np.float64], low: float, high: float, what: str, unit: str) -> None:
    array = np.asarray(values, dtype=np.float64)
    outside = (array < low) | (array > high)
    if outside.any():
        first = float(array[outside].flat[0])
        raise OutOfRangeError(f"{what} of {first:g} {unit} is outside {low:g} to {high:g} {unit}")
