"""Whether lighting is worth looking for: a glance that costs little, at a record in which mostly nothing happens."""

from emberline.curves.grid import Column
from emberline.curves.ignition import FLAME_RISE_K, HOT_C, LOOK_S, LOSS_G

WIDTH_S = 7
"""Seconds from which a level is taken."""
QUIET_S = 20
"""Seconds at the record's beginning from which a flame probe's quiet level is taken."""
GLANCE_SHARE = 0.6
"""Share of what the detectors want to see on which they are asked."""


def may_be_lit(mass: Column | None, flame: Column | None, now: int) -> bool:
    """Tell whether mass has gone or a flame probe has risen by about as much as lighting takes.

    Args:
        mass: The load cell's column up to now; None without one.
        flame: The flame probe's, where fitted.
        now: Seconds so far.
    """
    if flame is not None:
        recent, quiet = _level(flame, now - WIDTH_S, now), _level(flame, 0, QUIET_S)
        lowest = _level(flame, now - 120, now - 90) if now > 120 else quiet
        if recent is not None and quiet is not None:
            base = min(quiet, lowest) if lowest is not None else quiet
            if recent > base + GLANCE_SHARE * FLAME_RISE_K or quiet > GLANCE_SHARE * HOT_C:
                return True
    if mass is None:
        return False
    late = _level(mass, now - WIDTH_S, now)
    for before_s in LOOK_S:
        early = _level(mass, now - before_s - WIDTH_S, now - before_s)
        if late is not None and early is not None and early - late > GLANCE_SHARE * LOSS_G:
            return True
    return False


def _level(column: Column, low: int, high: int) -> float | None:
    """Return the median of some seconds, None where all are empty."""
    known = sorted(v for v in column.value[max(0, low) : max(0, high)].tolist() if v == v)
    return known[len(known) // 2] if known else None
