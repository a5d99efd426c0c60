"""The time axis of a summary: minutes from lit."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from emberline.curves.events import EventKind, first

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis


def zero_s(analysis: "Analysis") -> float:
    """Return the moment from which times are counted: lit, or the first sample where nothing was lit."""
    lit = first(analysis.events, EventKind.LIT)
    return lit.t_s if lit else 0.0


def minutes(analysis: "Analysis", t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return moments, in seconds from the first sample, on the time axis."""
    return np.asarray((t_s - zero_s(analysis)) / 60.0)


def span_min(analysis: "Analysis") -> tuple[float, float]:
    """Return the ends of the record on the time axis."""
    zero = zero_s(analysis)
    return -zero / 60.0, (max(analysis.grid.n, 1) - zero) / 60.0
