"""The curves of one burn as pictures: temperatures, load cell, the ledger's parts, burning rate, events."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from emberline.bench.channels import Role
from emberline.curves.events import Event, EventKind, Phase, first
from emberline.curves.grid import Column
from emberline.heat.result import COVERAGE_95
from emberline.reports.figures import MINUS, clock
from emberline.reports.marks import Flag, Lane, Mark, place_flags
from emberline.reports.svg import inline_svg
from emberline.reports.wording import EVENTS, PHASES

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

INK = "#26221d"
FAINT = "#8d857a"
RULE = "#d9d2c5"
WATER = "#175676"
FLAME = "#b5480f"
FUEL = "#4a3a28"
RATE = "#5c6b1e"
PHASE_FILL = {Phase.KINDLING: "#efe3cf", Phase.FLAMING: "#e3b98c", Phase.CHAR: "#b9b2a8"}

_DRAWING = threading.Lock()
_POINTS_PER_INCH = 72.0
_MAIN = (EventKind.LIT, EventKind.POT_ON, EventKind.BOIL, EventKind.POT_OFF, EventKind.FLAMEOUT)


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


WIDE = Size("wide", 7.3, 0.5, 7.5, 900, 4, named_times=True)
"""For screens and paper: 185 mm wide."""
NARROW = Size("narrow", 3.5, 0.62, 8.0, 350, 5, named_times=False)
"""For a telephone: 336 CSS pixels wide at its own scale."""


@dataclass(frozen=True, slots=True)
class _Panel:
    """What one panel shows and how high it is, in units of `Size.unit_in`."""

    name: str
    title: str
    height: float


def burn_curves(analysis: "Analysis", size: Size, *, title: str, description: str) -> str:
    """Draw all curves of a burn over one time axis, minutes from lit, as one SVG element.

    Args:
        analysis: The final pass.
        size: `WIDE` or `NARROW`.
        title: Short name of the picture.
        description: What it shows, in words.

    Returns:
        SVG markup, the same for the same input; empty where the trial holds no reading at all.
    """
    panels = _panels(analysis)
    if not panels:
        return ""
    with _style(size):
        return inline_svg(_figure(analysis, size, panels), key=size.key, title=title, description=description)


def zero_s(analysis: "Analysis") -> float:
    """Return the moment from which times are counted: lit, or the first sample where nothing was lit."""
    lit = first(analysis.events, EventKind.LIT)
    return lit.t_s if lit else 0.0


def _panels(analysis: "Analysis") -> list[_Panel]:
    grid, account = analysis.grid, analysis.account
    panels = []
    if _has(grid.get(Role.WATER)):
        panels.append(_Panel("water", "Water temperature, °C", 2.2))
    if _has(grid.get(Role.FLAME)):
        panels.append(_Panel("flame", "Flame temperature, °C", 1.25))
    if _has(grid.get(Role.MASS)):
        panels.append(_Panel("cell", "Load cell, g", 1.25))
    if _any(account.fuel_g) or _any(account.water_g):
        panels.append(_Panel("ledger", "Fuel and water, g", 2.1))
    if _any(account.burning_rate_g_min):
        panels.append(_Panel("rate", "Burning rate, g/min", 1.9))
    return panels


@dataclass(frozen=True, slots=True)
class _Measures:
    """Where things stand on one figure, in inches from its left and top."""

    left_in: float
    wide_in: float
    lane_in: float
    line_in: float
    total_in: float
    span_min: tuple[float, float]

    def points(self, t_min: float) -> float:
        """Return a moment's distance from the left end of the panels."""
        low, high = self.span_min
        return (t_min - low) / (high - low) * self.wide_in * _POINTS_PER_INCH


def _figure(analysis: "Analysis", size: Size, panels: list[_Panel]) -> Figure:
    line_in = size.font_pt * 1.45 / _POINTS_PER_INCH
    left_in, right_in = 0.46, 0.08
    heights = [panel.height * size.unit_in for panel in panels]
    head_in = line_in * (1.1 if size.named_times else 2.1)
    below_in = line_in + sum(heights) + len(panels) * (head_in + 0.06) + 2.3 * line_in
    bare = _Measures(left_in, size.width_in - left_in - right_in, 0.0, line_in, below_in, _span_min(analysis))
    flags = _flags(analysis, size, bare)
    lane_in = (1 + max((flag.row for _, flag in flags), default=-1)) * line_in
    at = replace(bare, lane_in=lane_in, total_in=lane_in + below_in)
    figure = Figure(figsize=(size.width_in, at.total_in))
    strip = _axes(figure, size, at, lane_in, line_in * 0.85)
    _draw_phases(strip, analysis, size, at)
    top_in, drawn = lane_in + line_in, dict[str, Axes]()
    for panel, high_in in zip(panels, heights, strict=True):
        ax = _axes(figure, size, at, top_in + head_in, high_in)
        top_in += head_in + high_in + 0.06
        _DRAWERS[panel.name](ax, analysis, size)
        _furnish(ax, panel, size, last=panel is panels[-1])
        drawn[panel.name] = ax
    for ax in (strip, *drawn.values()):
        ax.set_xlim(*at.span_min)
    drawn[panels[-1].name].set_xlabel(
        "minutes from lit" if first(analysis.events, EventKind.LIT) else "minutes from the first sample"
    )
    _draw_events(figure, size, at, drawn, flags)
    return figure


def _axes(figure: Figure, size: Size, at: _Measures, top_in: float, high_in: float) -> Axes:
    return figure.add_axes(
        (
            at.left_in / size.width_in,
            1 - (top_in + high_in) / at.total_in,
            at.wide_in / size.width_in,
            high_in / at.total_in,
        )
    )


def _draw_phases(strip: Axes, analysis: "Analysis", size: Size, at: _Measures) -> None:
    """Fill the strip with the phases and name those that are wide enough."""
    strip.set_ylim(0, 1)
    strip.axis("off")
    t_min, phases = _minutes(analysis, analysis.account.t_s), analysis.account.phase
    edges = [0, *(i for i in range(1, len(phases)) if phases[i] is not phases[i - 1]), len(phases)]
    for begin, stop in pairwise(edges):
        if begin == stop or phases[begin] not in PHASE_FILL:
            continue
        low, high = float(t_min[begin]), float(t_min[min(stop, len(t_min) - 1)])
        strip.axvspan(low, high, color=PHASE_FILL[phases[begin]], lw=0)
        name = PHASES[phases[begin]]
        if at.points(high) - at.points(low) > len(name) * size.font_pt * 0.62:
            strip.text((low + high) / 2, 0.46, name, ha="center", va="center", fontsize=size.font_pt - 0.5, color=INK)


def _flags(analysis: "Analysis", size: Size, at: _Measures) -> list[tuple[Event, Flag]]:
    """Return the events within the picture with their names' places, in points from the left end of the panels."""
    events, marks = [], []
    for number, event in enumerate(analysis.events, 1):
        t_min = float(_minutes(analysis, event.t_s))
        if at.span_min[0] <= t_min <= at.span_min[1]:
            events.append(event)
            rank = 0 if event.kind in _MAIN else 1 if event.kind is EventKind.REFUEL else 2
            marks.append(Mark(at.points(t_min), _names(event, number, analysis, size), rank))
    # Names may hang over the axis labels' margin on the left.
    lane = Lane(
        -0.4 * _POINTS_PER_INCH, at.wide_in * _POINTS_PER_INCH, size.rows, size.font_pt * 0.6, size.font_pt * 0.3
    )
    return list(zip(events, place_flags(marks, lane), strict=True))


def _draw_events(
    figure: Figure, size: Size, at: _Measures, panels: dict[str, Axes], flags: list[tuple[Event, Flag]]
) -> None:
    """Draw a thin line at each event, and its name above the panels; a mere step shows in the load cell's alone."""
    low, high = at.span_min
    for event, flag in flags:
        main = event.kind in _MAIN
        width, dashes = (0.7, "-") if main else (0.5, (0, (1.0, 2.0)))
        x_pt = flag.mark.x
        crossed = [ax for name, ax in panels.items() if name == "cell" or event.kind is not EventKind.STEP]
        for ax in crossed:
            ax.axvline(
                low + x_pt / (at.wide_in * _POINTS_PER_INCH) * (high - low),
                color=INK,
                lw=width,
                ls=dashes,
                alpha=0.75,
                zorder=1.5,
            )
        if flag.row < 0:
            continue
        x = (at.left_in + x_pt / _POINTS_PER_INCH) / size.width_in
        foot = 1 - at.lane_in / at.total_in
        top = 1 - (at.lane_in - (flag.row + 0.95) * at.line_in) / at.total_in
        figure.add_artist(Line2D([x, x], [foot, top], color=INK, lw=width, ls=dashes, alpha=0.75))
        right = flag.left >= x_pt
        figure.text(
            x + (1 if right else -1) * 0.3 * size.font_pt / _POINTS_PER_INCH / size.width_in,
            1 - (at.lane_in - (flag.row + 0.5) * at.line_in) / at.total_in,
            flag.text,
            ha="left" if right else "right",
            va="center",
            fontsize=size.font_pt if main else size.font_pt - 1.0,
            color=INK,
            weight="bold" if main else "normal",
        )


def _names(event: Event, number: int, analysis: "Analysis", size: Size) -> tuple[str, ...]:
    word = EVENTS[event.kind] if event.confirmed else f"{EVENTS[event.kind]}?"
    if event.kind in (EventKind.STEP, EventKind.NOTE):
        return (str(number),)
    if size.named_times and event.kind in _MAIN:
        return (f"{number} {word} {clock(event.t_s - zero_s(analysis))}", f"{number} {word}", str(number))
    return (f"{number} {word}", str(number))


def _draw_water(ax: Axes, analysis: "Analysis", size: Size) -> None:
    column = analysis.grid.columns[Role.WATER]
    boiling = analysis.boiling_point
    half = COVERAGE_95 * boiling.std_dev
    ax.axhspan(boiling.nominal_value - half, boiling.nominal_value + half, color=WATER, alpha=0.13, lw=0)
    ax.axhline(boiling.nominal_value, color=WATER, lw=0.7, ls=(0, (4, 2)), label="local boiling point, 95 % band")
    ax.plot(*_drawn(_minutes(analysis, column.t_s), column.value, size), color=WATER, lw=1.5, label="water")
    low, high = _limits(column.value)
    ax.set_ylim(low, max(high, boiling.nominal_value + half + 3.0))


def _draw_flame(ax: Axes, analysis: "Analysis", size: Size) -> None:
    column = analysis.grid.columns[Role.FLAME]
    ax.plot(*_drawn(_minutes(analysis, column.t_s), column.value, size), color=FLAME, lw=0.8)
    ax.set_ylim(*_limits(column.value))


def _draw_cell(ax: Axes, analysis: "Analysis", size: Size) -> None:
    column = analysis.grid.columns[Role.MASS]
    ax.plot(*_drawn(_minutes(analysis, column.t_s), column.value, size), color=INK, lw=0.8)
    ax.set_ylim(*_limits(column.value))


def _draw_ledger(ax: Axes, analysis: "Analysis", size: Size) -> None:
    account = analysis.account
    t_min = _minutes(analysis, account.t_s)
    if _any(account.fuel_g):
        band_t, low, high = _band(t_min, account.fuel_g, account.u_fuel_g, size)
        ax.fill_between(band_t, low, high, color=FUEL, alpha=0.22, lw=0, label="95 % band")
        ax.plot(*_drawn(t_min, account.fuel_g, size), color=FUEL, lw=1.5, label="fuel and char")
    if _any(account.water_g):
        ax.plot(*_drawn(t_min, account.water_g, size), color=WATER, lw=1.3, ls=(0, (5, 1.5)), label="water in the pot")
    low_g, high_g = _limits(np.concatenate((account.fuel_g, account.water_g)))
    ax.set_ylim(min(low_g, 0.0), high_g)


def _draw_rate(ax: Axes, analysis: "Analysis", size: Size) -> None:
    account = analysis.account
    t_min = _minutes(analysis, account.t_s)
    band_t, low, high = _band(t_min, account.burning_rate_g_min, account.u_burning_rate_g_min, size)
    ax.fill_between(band_t, low, high, color=RATE, alpha=0.28, lw=0, label="95 % band")
    ax.plot(*_drawn(t_min, account.burning_rate_g_min, size), color=RATE, lw=1.3, label="fuel, char and starter lost")
    low_r, high_r = _limits(account.burning_rate_g_min)
    ax.set_ylim(min(low_r, 0.0), high_r * 1.12)


_DRAWERS = {
    "water": _draw_water,
    "flame": _draw_flame,
    "cell": _draw_cell,
    "ledger": _draw_ledger,
    "rate": _draw_rate,
}


def _furnish(ax: Axes, panel: _Panel, size: Size, *, last: bool) -> None:
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
    ax.annotate(
        panel.title,
        (0, 1),
        xytext=(-0.44 * _POINTS_PER_INCH, size.font_pt * (0.45 if size.named_times else 1.9)),
        xycoords="axes fraction",
        textcoords="offset points",
        weight="bold",
    )
    handles, labels = ax.get_legend_handles_labels()
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


@contextmanager
def _style(size: Size) -> Iterator[None]:
    """Hold the drawing settings that make a picture repeatable, whatever the user's own matplotlib settings."""
    defaults = {key: value for key, value in mpl.rcParamsDefault.items() if not key.startswith("backend")}
    settings = {
        **defaults,
        "svg.fonttype": "none",
        "svg.hashsalt": f"emberline-{size.key}",
        "font.family": ["DejaVu Sans"],
        "font.size": size.font_pt,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.labelsize": size.font_pt,
        "xtick.labelsize": size.font_pt,
        "ytick.labelsize": size.font_pt,
        "figure.facecolor": "none",
        "axes.facecolor": "none",
        "savefig.facecolor": "none",
        "path.simplify": True,
        "path.simplify_threshold": 0.3,
    }
    with _DRAWING, mpl.rc_context(settings):
        yield


def _minutes(analysis: "Analysis", t_s: NDArray[np.float64] | float) -> NDArray[np.float64]:
    return np.asarray((np.asarray(t_s) - zero_s(analysis)) / 60.0)


def _span_min(analysis: "Analysis") -> tuple[float, float]:
    start, end = float(_minutes(analysis, 0.0)), float(_minutes(analysis, float(max(analysis.grid.n, 1))))
    return start, end


def _has(column: Column | None) -> bool:
    return column is not None and _any(column.value)


def _any(values: NDArray[np.float64]) -> bool:
    return bool(np.isfinite(values).any())


def _limits(values: NDArray[np.float64]) -> tuple[float, float]:
    """Return a panel's range: all values, but for outliers further away than the bulk is wide."""
    finite = values[np.isfinite(values)]
    low, high = (float(q) for q in np.percentile(finite, (0.3, 99.7)))
    room = max(high - low, 1e-9)
    low = max(float(finite.min()), low - 0.5 * room)
    high = min(float(finite.max()), high + 0.5 * room)
    margin = max(0.05 * (high - low), 0.5)
    return low - margin, high + margin


def _drawn(
    t: NDArray[np.float64], values: NDArray[np.float64], size: Size
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the points to draw: all, or the least and the greatest of each of `size.columns` stretches."""
    if len(t) <= 2 * size.columns:
        return t, values
    keep: list[int] = []
    for stretch in np.array_split(np.arange(len(t)), size.columns):
        part = values[stretch]
        if np.isfinite(part).any():
            keep += sorted({int(stretch[np.nanargmin(part)]), int(stretch[np.nanargmax(part)])})
        else:
            keep.append(int(stretch[0]))
    return t[keep], values[keep]


def _band(
    t: NDArray[np.float64], values: NDArray[np.float64], u: NDArray[np.float64], size: Size
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return times and ends of a 95 % band at every n-th second, so that it has at most `size.columns` points."""
    step = max(1, -(-len(t) // size.columns))
    half = COVERAGE_95 * u[::step]
    return t[::step], values[::step] - half, values[::step] + half
