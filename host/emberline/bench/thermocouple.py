"""Thermocouple voltage and temperature on the ITS-90, types K, J, N and T.

The reference functions are those of NIST Standard Reference Database 60 (Monograph 175), which IEC 60584-1 and
ASTM E230 share. Temperatures are found by inverting the reference function itself, so that both directions agree to
rounding; the published inverse polynomials would add up to 0.06 K.
"""

from collections.abc import Mapping
from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from emberline.bench.errors import OutOfRangeError as OutOfRangeError
from emberline.bench.its90 import REFERENCE, Piece

Values = TypeVar("Values", float, NDArray[np.float64])

LOWEST_C = -200.0
"""Lowest temperature served; below it the sensitivity of all four types dies away."""

_NEWTON_STEPS = 4
"""From a start within a thousandth of a kelvin Newton's rule needs two; four leaves a margin."""


KINDS = tuple(REFERENCE)
"""Letters of the thermocouple types served."""

_TOLERANCE: Mapping[tuple[str, int], tuple[float, float, float]] = {
    ("K", 1): (1.5, 0.004, 1000.0),
    ("K", 2): (2.5, 0.0075, 1200.0),
    ("N", 1): (1.5, 0.004, 1000.0),
    ("N", 2): (2.5, 0.0075, 1200.0),
    ("J", 1): (1.5, 0.004, 750.0),
    ("J", 2): (2.5, 0.0075, 750.0),
    ("T", 1): (0.5, 0.004, 350.0),
    ("T", 2): (1.0, 0.0075, 350.0),
}
"""IEC 60584-1 tolerances: (fixed part in kelvin, share of |t|, upper limit in degrees); the larger part holds."""


def emf_mv(kind: str, t_c: Values) -> Values:
    """Thermocouple voltage for a hot junction at `t_c` and a cold junction at 0 degrees, in millivolts.

    NaN passes through.

    Raises:
        OutOfRangeError: for an unknown type, or a temperature outside -200 degrees and the type's upper limit.
    """
    pieces = _pieces(kind)
    t = np.asarray(t_c, dtype=np.float64)
    _refuse_outside(t, LOWEST_C, pieces[-1].upto_c, f"type {kind} wire", "degC")
    return _like(t_c, _by_piece(pieces, t, slope=False))


def temperature_c(kind: str, e_mv: Values) -> Values:
    """Temperature whose reference voltage is `e_mv`, cold junction at 0 degrees.

    NaN passes through.

    Raises:
        OutOfRangeError: for an unknown type or a voltage outside the type's range.
    """
    pieces = _pieces(kind)
    e = np.asarray(e_mv, dtype=np.float64)
    grid_c, grid_mv = _start_table(kind)
    _refuse_outside(e, float(grid_mv[0]), float(grid_mv[-1]), f"type {kind} wire", "mV")
    # np.interp makes NaN of NaN, and a start this near keeps Newton's rule within the right piece.
    t = np.asarray(np.interp(e, grid_mv, grid_c), dtype=np.float64)
    for _ in range(_NEWTON_STEPS):
        t = t - (_by_piece(pieces, t, slope=False) - e) / _by_piece(pieces, t, slope=True)
        t = np.clip(t, LOWEST_C, pieces[-1].upto_c)
    return _like(e_mv, t)


def cold_junction_corrected_c(kind: str, e_mv: Values, cj_c: Values | float) -> Values:
    """Hot junction temperature from the measured voltage and the temperature of the cold junction.

    The voltage of the cold junction is added before the inversion; adding temperatures instead would be wrong
    wherever the sensitivity changes (NIST SRD 60, introduction).

    Raises:
        OutOfRangeError: as `emf_mv` and `temperature_c` do.
    """
    total = np.asarray(e_mv, dtype=np.float64) + emf_mv(kind, np.asarray(cj_c, dtype=np.float64))
    return _like(e_mv, temperature_c(kind, total))


def tolerance_c(kind: str, klass: int, t_c: float) -> float:
    """Limit of error of unused wire at `t_c`, plus or minus, in kelvin (IEC 60584-1, classes 1 and 2).

    Raises:
        OutOfRangeError: where the standard states no such tolerance.
    """
    fixed_c, share, upto_c = _tolerance(kind, klass)
    if not -40.0 <= t_c <= upto_c:
        raise OutOfRangeError(f"type {kind} class {klass} is specified from -40 to {upto_c:g} degC, not at {t_c:g}")
    return max(fixed_c, share * abs(t_c))


def tolerance_parts(kind: str, klass: int) -> tuple[float, float]:
    """Return the fixed limit of error in kelvin and the one that is a share of the temperature (IEC 60584-1).

    Raises:
        OutOfRangeError: where the standard states no such tolerance.
    """
    fixed_c, share, _ = _tolerance(kind, klass)
    return fixed_c, share


def upper_limit_c(kind: str) -> float:
    """Highest temperature of a type's reference function, in degrees.

    Raises:
        OutOfRangeError: for an unknown type.
    """
    return _pieces(kind)[-1].upto_c


def _pieces(kind: str) -> tuple[Piece, ...]:
    found = REFERENCE.get(kind)
    if found is None:
        raise OutOfRangeError(f"unknown thermocouple type {kind!r}: use one of {', '.join(KINDS)}")
    return found


def _tolerance(kind: str, klass: int) -> tuple[float, float, float]:
    found = _TOLERANCE.get((kind, klass))
    if found is None:
        raise OutOfRangeError(f"no tolerance for type {kind!r} class {klass}: use K, J, N or T and class 1 or 2")
    return found


def _by_piece(pieces: tuple[Piece, ...], t_c: NDArray[np.float64], *, slope: bool) -> NDArray[np.float64]:
    result = np.full(t_c.shape, np.nan)
    lower = -np.inf
    for piece in pieces:
        # A range keeps its upper end, as in the published tables.
        here = (t_c > lower) & (t_c <= piece.upto_c)
        result[here] = piece.slope_mv_k(t_c[here]) if slope else piece.emf_mv(t_c[here])
        lower = piece.upto_c
    return result


@cache
def _start_table(kind: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    grid_c = np.arange(LOWEST_C, upper_limit_c(kind) + 0.5, 1.0)
    return grid_c, _by_piece(_pieces(kind), grid_c, slope=False)


def _refuse_outside(values: NDArray[np.float64], low: float, high: float, what: str, unit: str) -> None:
    outside = (values < low) | (values > high)
    if outside.any():
        first = float(values[outside].flat[0])
        raise OutOfRangeError(f"{first:g} {unit} is outside the range of {what}, {low:g} to {high:g} {unit}")


def _like(pattern: Values, values: NDArray[np.float64]) -> Values:
    """Return a plain float where the caller gave one."""
    return values if isinstance(pattern, np.ndarray) else float(values)
