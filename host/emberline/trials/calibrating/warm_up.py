"""A run of the empty bench that is warmed: its record, a minute at a time, as a fit of zero against temperature."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.bench.drift_fit import DriftFit, fit_drift
from emberline.bench.errors import CalibrationError
from emberline.bench.samples import Curve
from emberline.curves.grid import Column, Grid, grid_of

Array = NDArray[np.float64]

MINUTE_S = 60
MOST_G_PER_K = 3.0
"""Drift that no load cell has: a cheap one of 20 kg has 1 g/K (0.05 % of its capacity in 10 K)."""
MOST_REST_G = 5.0
"""Standard deviation about the fit that no load cell has: a cheap one of 10 kg has 5 g of hysteresis."""
LEAST_JUMP_G = 2.0
"""Change of load between two minutes that is no drift: a cell drifts by grams in half an hour."""
JUMP = 8.0
"""Times that it must exceed the usual change from one minute to the next."""


def drift_of(curves: Mapping[Role, Curve], role: Role = Role.MASS) -> DriftFit:
    """Fit a load cell's drift from the curves of a warm-up run.

    Args:
        curves: Those of the cell and its temperature, times in seconds from the begin of the run.
        role: Which load cell.

    Raises:
        CalibrationError: A curve is missing, something was laid on or taken off, or the run is too short or too cold.
    """
    grid = grid_of(curves)
    mass, cell = grid.get(role), grid.get(Role.CELL_TEMPERATURE)
    if mass is None or cell is None:
        raise CalibrationError(
            "the bench does not measure its load cell's temperature: fit a thermometer to it, and give that a channel "
            'of role = "cell_temperature"'
        )
    zero_g, cell_c = _minutes(grid, mass), _minutes(grid, cell)
    known = np.isfinite(zero_g) & np.isfinite(cell_c)
    zero_g, cell_c = zero_g[known], cell_c[known]
    _expect_untouched(zero_g)
    fit = fit_drift(cell_c, zero_g)
    if abs(fit.g_per_k) > MOST_G_PER_K or fit.residual_g > MOST_REST_G:
        raise CalibrationError(
            f"the load changed by {np.ptp(zero_g):.0f} g, more than a cell drifts, or not as its temperature did: "
            "something burnt, or water left a pot; only a bench on which nothing changes tells the drift"
        )
    return fit


def _minutes(grid: Grid, column: Column) -> Array:
    """Return the median of each full minute; NaN for one without readings."""
    full = grid.n // MINUTE_S
    minutes = column.value[: full * MINUTE_S].reshape(full, MINUTE_S)
    found = np.full(full, np.nan)
    heard = np.isfinite(minutes).any(axis=1)
    found[heard] = np.nanmedian(minutes[heard], axis=1)
    return found


def _expect_untouched(zero_g: Array) -> None:
    steps = np.diff(zero_g)
    if not len(steps):
        return
    usual = float(np.median(np.abs(steps)))
    worst = int(np.argmax(np.abs(steps)))
    if abs(steps[worst]) > max(LEAST_JUMP_G, JUMP * usual):
        raise CalibrationError(
            f"the load changed by {steps[worst]:+.1f} g in minute {worst + 2} of the run: nothing may be put on, taken "
            "off or burnt away meanwhile; begin anew with the empty bench"
        )
