"""A load cell near its limit: near what it can carry, or near the end of its converter's range."""

from collections.abc import Sequence

from emberline.bench.calibration import Linear
from emberline.bench.channels import Channel, Role
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.look import Look

LASTS_S = 5
"""Time for which a load must last: a hand that sets a pot on presses for a second or two."""
FULL, FREE = 0.90, 0.85
"""Shares of the capacity at which an alarm is raised and cleared. Cells bear a tenth more and are then worse for it."""
RAIL, OFF_RAIL = 0.95, 0.90
"""The same of the converter's range, at whose end readings stand still."""


class CellLimit:
    """Watches all load cells."""

    def look(self, look: Look) -> Verdict:
        """Look at the newest seconds."""
        found = [_verdict(look, role) for role in (Role.MASS, Role.POT_MASS) if role in look.channels]
        dangers = [one for one in found if isinstance(one, Danger)]
        if dangers:
            return dangers[0]
        return Safe() if found and all(isinstance(one, Safe) for one in found) else None


def _verdict(look: Look, role: Role) -> Verdict:
    channel, values = look.channels[role], look.recent(role, LASTS_S)
    if look.beyond.get(role, 0.0) > 0.5:
        return Danger(f"The converter of {channel.name} is at the end of its range: take load off the cell.")
    if len(values) < LASTS_S - 1:
        return None
    # What lasts: the lightest of these seconds.
    load_g = min(map(abs, values))
    capacity_g = channel.capacity_g
    share = 0.0 if capacity_g is None else load_g / capacity_g
    rail = _rail_share(channel, values)
    if capacity_g is not None and share > FULL:
        return Danger(f"{load_g:,.0f} g are on {channel.name}, a cell that carries {capacity_g:,.0f} g in all.")
    if rail > RAIL:
        return Danger(f"{channel.name} is at {100.0 * rail:.0f} % of its converter's range, with {load_g:,.0f} g.")
    return Safe() if share < FREE and rail < OFF_RAIL else None


def _rail_share(channel: Channel, values: Sequence[float]) -> float:
    """Return how far through its converter's range a channel is; 0 where nobody knows the range."""
    line = channel.calibration
    if not isinstance(line, Linear):
        return 0.0
    return min(abs(value * line.counts_per_unit + line.zero_counts) for value in values) / line.saturated_counts
