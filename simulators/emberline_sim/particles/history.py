"""The course of one burn as it came about: what a simulated burn leaves behind."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emberline_sim.particles.setting import Deed

STEP_S = 0.5
DARK_S = 10.0
"""A flame that is away for longer is out (ISO 5660-1: sustained flaming lasts over 10 s; from memory)."""


@dataclass(frozen=True, slots=True)
class Done:
    """A deed as it was done, with the change of load that it left."""

    deed: Deed
    t_s: float
    size_g: float


@dataclass(slots=True)
class Stay:
    """One stay of the pot on the stove."""

    on_s: float
    water_g: float
    boil_s: float | None = None
    off_s: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """What happened, at steps of `STEP_S` from the beginning of the burn (not of the record).

    Attributes:
        t_s: (n,) times; entry i is the end of step i, which began with the deeds that were due.
        column: (n,) arrays by the names in `COLUMNS`; cumulative sums end with `_j` or `evaporated_g`.
        pressure_pa: Station pressure.
        boiling_c: Local boiling point.
        lit_s: When a match was put to it, if it was.
        done: The deeds.
        stays: The pot's stays.
        fuel_in: Charges put in: time, moist and dry mass.

    """

    t_s: NDArray[np.float64]
    column: dict[str, NDArray[np.float64]]
    pressure_pa: float
    boiling_c: float
    lit_s: float | None
    done: tuple[Done, ...]
    stays: tuple[Stay, ...]
    fuel_in: tuple[tuple[float, float, float], ...]

    def at(self, name: str, t_s: float) -> float:
        """Return a column's value at a time, before the deeds of that moment."""
        return float(self.column[name][min(len(self.t_s) - 1, max(0, round(t_s / STEP_S) - 1))])


COLUMNS = (
    "fuel_g", "char_g", "raw_g", "raw_dry_g", "starter_g", "volatiles_g_s", "glow_g_s", "starter_g_s", "released_j",
    "firepower_w", "flame_w", "flame", "hot_c", "wall_c", "char_k", "flow_g_s", "pull", "water_g", "bulk_c", "top_c",
    "bottom_c", "pot_wall_c", "bubbling", "steam_share", "on_stove", "in_pot", "lid", "into_water_j", "evaporated_g",
    "air_c", "wind_m_s",
)  # fmt: skip
