"""The panels of a burn's picture, one quantity each."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from emberline.bench.channels import Role
from emberline.heat.result import COVERAGE_95
from emberline.reports.figures import MINUS
from emberline.reports.thinning import Values, band, drawn, known, limits
from emberline.reports.timeline import minutes

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

INK = "#26221d"
FAINT = "#8d857a"
RULE = "#d9d2c5"
WATER = "#175676"
FLAME = "#b5480f"
FUEL = "#4a3a28"
RATE = "#5c6b1e"

POINTS_PER_INCH = 72.0


@dataclass(frozen=True, slots=True)
class Size:
    """Measures of one rendering, in inches and points."""

    key: str
    width_in: float
    unit_in: float
    font_pt: float
    columns: int
    rows: int
    named_times: bool


WIDE = Size("wide", 7.3, 0.43, 7.5, 900, 4, named_times=True)
"""For screens and paper: 185 mm wide."""
NARROW = Size("narrow", 3.5, 0.62, 8.0, 350, 5, named_times=False)
"""For a telephone: 336 CSS pixels wide at its own scale."""


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity of a burn.

    Attributes:
        name: What it is known by.
        title: Its heading.
        height: In units of `Size.unit_in`.
        has_data: Tells whether a trial has data for it.
        draw: Draws its curves.
    """

    name: str
    title: str
    height: float
    has_data: Callable[["Analysis"], bool]
    draw: Callable[[Axes, "Analysis", Size], None]


def panels_of(analysis: "Analysis") -> list[Panel]:
    """Return the panels for which the trial has data, from top to bottom."""
    return [panel for panel in _PANELS if panel.has_data(analysis)]


def _measured(role: Role) -> Callable[["Analysis"], bool]:
    """Ask whether a channel has readings."""

    def has_data(analysis: "Analysis") -> bool:
        column = analysis.grid.get(role)
        return column is not None and known(column.value)

    return has_data


def _draw_water(ax: Axes, analysis: "Analysis", size: Size) -> None:
    column = analysis.grid.columns[Role.WATER]
    boiling = analysis.boiling_point
    half = COVERAGE_95 * boiling.std_dev
    ax.axhspan(boiling.nominal_value - half, boiling.nominal_value + half, color=WATER, alpha=0.13, lw=0)
    ax.axhline(boiling.nominal_value, color=WATER, lw=0.7, ls=(0, (4, 2)), label="local boiling point, 95 % band")
    _line(ax, minutes(analysis, column.t_s), column.value, size, WATER, 1.5, label="water")
    low, high = limits(column.value)
    ax.set_ylim(low, max(high, boiling.nominal_value + half + 3.0))


def _plain(role: Role, colour: str) -> Callable[[Axes, "Analysis", Size], None]:
    """Draw a channel's readings and nothing else."""

    def draw(ax: Axes, analysis: "Analysis", size: Size) -> None:
        column = analysis.grid.columns[role]
        _line(ax, minutes(analysis, column.t_s), column.value, size, colour, 0.8)
        ax.set_ylim(*limits(column.value))

    return draw


def _draw_cell(ax: Axes, analysis: "Analysis", size: Size) -> None:
    whole, pot = analysis.grid.columns[Role.MASS], analysis.grid.get(Role.POT_MASS)
    low, high = limits(whole.value)
    two = pot is not None and known(pot.value)
    _line(ax, minutes(analysis, whole.t_s), whole.value, size, INK, 0.8, label="under the stove" if two else None)
    if pot is not None and two:
        _line(ax, minutes(analysis, pot.t_s), pot.value, size, WATER, 0.8, label="under the pot", dashed=True)
        low, high = min(low, limits(pot.value)[0]), max(high, limits(pot.value)[1])
    ax.set_ylim(low, high)


def _draw_ledger(ax: Axes, analysis: "Analysis", size: Size) -> None:
    account = analysis.account
    t_min = minutes(analysis, account.t_s)
    if known(account.fuel_g):
        _band(ax, t_min, account.fuel_g, account.u_fuel_g, size, FUEL)
        _line(ax, t_min, account.fuel_g, size, FUEL, 1.5, label="fuel and char")
    if known(account.water_g):
        _line(ax, t_min, account.water_g, size, WATER, 1.3, label="water in the pot", dashed=True)
    low_g, high_g = limits(np.concatenate((account.fuel_g, account.water_g)))
    ax.set_ylim(min(low_g, 0.0), high_g)


def _draw_rate(ax: Axes, analysis: "Analysis", size: Size) -> None:
    account = analysis.account
    t_min = minutes(analysis, account.t_s)
    _band(ax, t_min, account.burning_rate_g_min, account.u_burning_rate_g_min, size, RATE)
    _line(ax, t_min, account.burning_rate_g_min, size, RATE, 1.3, label="fuel, char and starter lost")
    low, high = limits(account.burning_rate_g_min)
    ax.set_ylim(min(low, 0.0), high * 1.12)


def _line(
    ax: Axes,
    t_min: Values,
    values: Values,
    size: Size,
    colour: str,
    width: float,
    *,
    label: str | None = None,
    dashed: bool = False,
) -> None:
    ax.plot(
        *drawn(t_min, values, size.columns), color=colour, lw=width, ls=(0, (5, 1.5)) if dashed else "-", label=label
    )


def _band(ax: Axes, t_min: Values, values: Values, u: Values, size: Size, colour: str) -> None:
    ax.fill_between(*band(t_min, values, u, size.columns), color=colour, alpha=0.25, lw=0, label="95 % band")


_PANELS = (
    Panel("water", "Water temperature, °C", 2.2, _measured(Role.WATER), _draw_water),
    Panel("flame", "Flame temperature, °C", 1.25, _measured(Role.FLAME), _plain(Role.FLAME, FLAME)),
    Panel("cell", "Load cell, g", 1.25, _measured(Role.MASS), _draw_cell),
    Panel(
        "ledger",
        "Fuel and water, g",
        2.1,
        lambda analysis: known(analysis.account.fuel_g) or known(analysis.account.water_g),
        _draw_ledger,
    ),
    Panel("rate", "Burning rate, g/min", 1.9, lambda analysis: known(analysis.account.burning_rate_g_min), _draw_rate),
)


def furnish(ax: Axes, panel: Panel, size: Size, *, last: bool) -> None:
    """Add a panel's heading, key, grid and ticks."""
    ax.spines[["top", "right"]].set_visible(False)
    ax.spines[["left", "bottom"]].set_color(FAINT)
    ax.spines[["left", "bottom"]].set_linewidth(0.6)
    ax.grid(axis="y", color=RULE, lw=0.5, zorder=0)
    ax.set_axisbelow(True)
    ax.yaxis.set_major_locator(MaxNLocator(5 if panel.height > 1.5 else 3, steps=[1, 2, 2.5, 5, 10]))
    ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", MINUS))
    ax.xaxis.set_major_locator(MaxNLocator(12 if size.named_times else 6, steps=[1, 2, 3, 5, 6, 10], integer=True))
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", MINUS))
    ax.tick_params(labelbottom=last, width=0.6, length=2.5, color=FAINT, labelcolor=INK)
    handles, labels = ax.get_legend_handles_labels()
    # On a narrow picture the heading stands above the key.
    lines_up = 1 if size.named_times or not labels else 2
    ax.annotate(
        panel.title,
        (0, 1),
        xytext=(-0.44 * POINTS_PER_INCH, size.font_pt * (1.45 * lines_up - 1.0)),
        xycoords="axes fraction",
        textcoords="offset points",
        weight="bold",
    )
    if labels:
        ax.legend(
            handles,
            labels,
            loc="lower right",
            bbox_to_anchor=(1.0, 1.0),
            ncols=len(labels),
            frameon=False,
            borderpad=0.1,
            borderaxespad=0.0,
            handlelength=1.9,
            handletextpad=0.5,
            columnspacing=1.2,
            fontsize=size.font_pt - 0.5,
        )
