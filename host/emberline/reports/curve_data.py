"""The curves of a trial as numbers, for a page on which a person looks closer."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.heat.result import COVERAGE_95
from emberline.reports.thinning import known
from emberline.reports.timeline import zero_s

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

Values = NDArray[np.float64]

MOST_POINTS = 7_200
"""Two hours of seconds; a longer record is thinned out to as many, which no screen tells apart."""
_PANELS = (
    # Beside a flame's 800 degrees the knee of the water's curve could not be seen.
    ("Water", "°C", ((Role.WATER, "water"), (Role.AMBIENT, "air"))),
    ("Flame", "°C", ((Role.FLAME, "flame"),)),
    ("Load cell", "g", ((Role.MASS, "load"), (Role.POT_MASS, "pot's own cell"))),
)


@dataclass(frozen=True, slots=True)
class _Line:
    panel: str
    unit: str
    name: str
    values: Values
    u: Values | None = None


def curve_data(analysis: "Analysis") -> dict[str, Any]:
    """Return the curves as plain JSON values: seconds from the first sample, and lines by panel.

    A line with an uncertainty has the ends of its 95 % interval beside it, `low` and `high`. What is not known is null.
    """
    n = analysis.grid.n
    step = max(1, -(-n // MOST_POINTS))
    panels: dict[str, dict[str, Any]] = {}
    for line in _lines(analysis):
        if not known(line.values):
            continue
        panel = panels.setdefault(line.panel, {"title": line.panel, "unit": line.unit, "lines": []})
        told: dict[str, Any] = {"name": line.name, "values": _numbers(line.values[::step])}
        if line.u is not None:
            half = COVERAGE_95 * line.u[::step]
            told |= {"low": _numbers(line.values[::step] - half), "high": _numbers(line.values[::step] + half)}
        panel["lines"].append(told)
    t_s = [round(float(t), 1) for t in (np.arange(n, dtype=np.float64) + 0.5)[::step]]
    return {"t_s": t_s, "zero_s": round(zero_s(analysis), 3), "end_s": n, "panels": list(panels.values())}


def _lines(analysis: "Analysis") -> Iterator[_Line]:
    for panel, unit, roles in _PANELS:
        for role, name in roles:
            column = analysis.grid.get(role)
            if column is not None:
                yield _Line(panel, unit, name, column.value)
    account = analysis.account
    yield _Line("Told apart", "g", "fuel", account.fuel_g, account.u_fuel_g)
    yield _Line("Told apart", "g", "water in the pot", account.water_g)
    yield _Line("Burning rate", "g/min", "burning rate", account.burning_rate_g_min, account.u_burning_rate_g_min)


def _numbers(values: Values) -> list[float | None]:
    return [round(value, 2) if np.isfinite(value) else None for value in values.tolist()]
