"""Columns of the 1 Hz grid from plain numbers: for tests of what reads them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emberline.curves.grid import Column


def seconds(n: int) -> NDArray[np.float64]:
    """Return the middles of `n` seconds, where the grid has its values."""
    return np.arange(n, dtype=np.float64) + 0.5


def column(values: ArrayLike, *, per_second: int = 10) -> Column:
    """Return a column of these values; a NaN is a second without samples."""
    value = np.array(values, dtype=np.float64)
    count = np.where(np.isfinite(value), per_second, 0).astype(np.int64)
    return Column(seconds(len(value)), value, np.where(count > 2, 0.0, np.nan), count)
