"""Taking off what the zero of a load cell goes with the temperature of the cell."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Channel, Role
from emberline.curves.grid import Column, Grid

Array = NDArray[np.float64]

TRAILING_S = 60
"""Seconds over which the cell's temperature is averaged: it changes in minutes, its sensor's steps must not show."""
WEIGHING = (Role.MASS, Role.POT_MASS)


def warming_k(cell_c: Column) -> Array:
    """Return (n,) how much warmer the cell is than at its first reading; 0 before that.

    The mean of the readings of the last minute, of a minute without any the last one known: so a live run, which knows
    the past alone, takes off the same as the final pass.

    Args:
        cell_c: The cell's temperature on the grid.
    """
    known = np.isfinite(cell_c.value)
    n = len(known)
    if not known.any():
        return np.zeros(n)
    first_c = float(cell_c.value[np.argmax(known)])
    sums = np.concatenate(([0.0], np.cumsum(np.where(known, cell_c.value - first_c, 0.0))))
    counts = np.concatenate(([0], np.cumsum(known)))
    low = np.maximum(0, np.arange(1, n + 1) - TRAILING_S)
    count = counts[1:] - counts[low]
    mean = np.where(count > 0, (sums[1:] - sums[low]) / np.maximum(count, 1), 0.0)
    last = np.maximum.accumulate(np.where(count > 0, np.arange(n), 0))
    return np.asarray(mean[last])


def without_warmth(grid: Grid, channels: Mapping[Role, Channel]) -> Grid:
    """Return a grid whose load cells show what they would have at their first temperature.

    A cell whose drift nobody found stays as it is, and so do all where the bench does not measure their temperature.
    """
    cell_c = grid.get(Role.CELL_TEMPERATURE)
    if cell_c is None:
        return grid
    columns = {
        role: corrected(column, channels.get(role), warming_k(cell_c)) if role in WEIGHING else column
        for role, column in grid.columns.items()
    }
    return Grid(grid.n, columns)


def corrected(column: Column, channel: Channel | None, warming: Array) -> Column:
    """Return a load cell's column with its drift taken off; see `without_warmth`.

    Args:
        column: The column.
        channel: The load cell.
        warming: (n,) how much warmer it is than at the beginning.
    """
    if channel is None or channel.warmth is None:
        return column
    return Column(column.t_s, column.value - channel.warmth.g_per_k * warming, column.spread, column.count)
