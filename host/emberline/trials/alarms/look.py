"""What alarms are told from: the record of a burn so far, and what a live run makes of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan
from emberline.curves.grid import Grid
from emberline.curves.loads import Loads, Stay
from emberline.trials.estimates import PotWater


@dataclass(frozen=True, slots=True)
class Look:
    """The record at one second.

    Attributes:
        grid: The record up to now.
        channels: The bench's channels by role.
        plan: What is known beforehand.
        burns: Whether a fire was lit.
        flame_s: Since when its flame burns, seconds of the record; None where none does.
        loads: What was set on the main cell and taken off it.
        stays: The stays of the pot.
        boiling_c: Local boiling temperature.
        water: The water of the pot that stands; None where none does, or nobody can tell.
        beyond: Share of the newest readings of a load cell at which its converter was at its end, by role.
    """

    grid: Grid
    channels: Mapping[Role, Channel]
    plan: Plan
    burns: bool
    loads: Loads
    stays: tuple[Stay, ...]
    boiling_c: UFloat
    water: PotWater | None
    beyond: Mapping[Role, float]
    flame_s: float | None = None

    @property
    def second(self) -> int:
        """The second that begins now."""
        return self.grid.n

    @property
    def pot_on_s(self) -> float | None:
        """When the pot that stands was set on; None where none stands, or nobody saw it."""
        on = self.stays[-1].on if self.stays and self.stays[-1].off is None else None
        return None if on is None else float(on.t_s)

    @property
    def pot_is_off(self) -> bool:
        """Whether the pot was lifted and stands no more."""
        return bool(self.stays) and self.stays[-1].off is not None

    def recent(self, role: Role, after: int, until: int = 0) -> list[float]:
        """Return a role's values from `after` to `until` seconds ago, those that are known."""
        column = self.grid.get(role)
        if column is None:
            return []
        values: list[float] = column.value[max(0, self.second - after) : max(0, self.second - until)].tolist()
        return [value for value in values if value == value]

    def recent_array(self, role: Role, after: int) -> NDArray[np.float64]:
        """Return the same as an array, from `after` seconds ago to now: for minutes of them."""
        column = self.grid.get(role)
        if column is None:
            return np.zeros(0)
        values = column.value[max(0, self.second - after) : self.second]
        return values[np.isfinite(values)]


def grams(value_g: float) -> str:
    """Write a mass in whole grams."""
    return f"{round(value_g):,} g".replace("-", "\N{MINUS SIGN}")


def middle(values: Sequence[float]) -> float:
    """Return the median of some values; quicker for a few of them than an array's."""
    ordered, half = sorted(values), len(values) // 2
    return 0.5 * (ordered[half] + ordered[-1 - half])
