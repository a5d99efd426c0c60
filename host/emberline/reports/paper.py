"""Figures for a paper: one burn's curves, several burns over each other, a comparison; 185 or 89 mm wide."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from emberline.bench.channels import Role
from emberline.curves.events import EventKind
from emberline.reports.dots import draw_dots
from emberline.reports.drawing import Picture, picture_bytes, repeatable
from emberline.reports.figures import MINUS
from emberline.reports.panels import FAINT, POINTS_PER_INCH, RULE, Size
from emberline.reports.plots import curves_figure
from emberline.reports.thinning import Values, drawn, known, limits
from emberline.reports.timeline import minutes, zero_s
from emberline.reports.wording import result_title
from emberline.trials.comparison.comparison import Comparison

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

DPI = 600.0
"""Of a figure in pixels, as journals ask for."""
GROUP_COLOURS = ("#175676", "#b5480f", "#5c6b1e", "#7a4a8c", "#26221d", "#c08a1c", "#3d8a86", "#9a6a55")
"""Told apart in print and by most who confuse red and green: their lightness differs between neighbours."""
KEY_LETTERS = 8
"""Room that a line and its gaps take in a key, in letters."""
GROUP_DASHES = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.2, 1.5)))


def figure_bytes(figure: Figure, picture: Picture) -> bytes:
    """Return a figure as a file, the same bytes for the same figure."""
    with repeatable("paper", 8.0):
        return picture_bytes(figure, picture, DPI)


def burn_figure(analysis: "Analysis", size: Size) -> Figure:
    """Draw the curves and events of one burn.

    Args:
        analysis: The final pass.
        size: `WIDE` or `NARROW`.

    Raises:
        ValueError: The trial holds no reading.
    """
    with repeatable("paper", size.font_pt):
        figure = curves_figure(analysis, size)
    if figure is None:
        raise ValueError(f"trial {analysis.trial} holds no reading: there is nothing to draw")
    figure.set_facecolor("white")
    return figure


def overlay_figure(groups: Mapping[str, Sequence["Analysis"]], size: Size) -> Figure:
    """Draw water temperature and burning rate of several burns over each other, minutes from lit.

    Open dots on the water's curve are its boil, on the rate's curve flameout.

    Args:
        groups: Burns by the name of their group; a group shares a colour and a dash.
        size: `WIDE` or `NARROW`.

    Raises:
        ValueError: There is no group, there are more than can be told apart, or no burn has such a curve.
    """
    if not 0 < len(groups) <= len(GROUP_COLOURS):
        raise ValueError(f"{len(groups)} groups: 1 to {len(GROUP_COLOURS)} can be told apart in one figure")
    burns = [burn for group in groups.values() for burn in group]
    panels = [
        (title, curve, kind)
        for title, curve, kind in (
            ("Water temperature, °C", _water, EventKind.BOIL),
            ("Burning rate, g/min", _rate, EventKind.FLAMEOUT),
        )
        if any(known(curve(burn)[1]) for burn in burns)
    ]
    if not panels:
        raise ValueError("none of these trials has a water temperature or a burning rate to draw")
    with repeatable("paper", size.font_pt):
        high_in = 5.5 * size.unit_in
        figure = Figure(figsize=(size.width_in, high_in * len(panels) + 0.35), facecolor="white", layout="constrained")
        axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
        for ax, (title, curve, kind) in zip(axes, panels, strict=True):
            _draw_groups(ax, groups, curve, kind, size)
            _furnish(ax, title, size)
        ends = [minutes(burn, burn.account.t_s)[[0, -1]] for burn in burns if len(burn.account.t_s)]
        axes[-1].set_xlim(max(-3.0, min(end[0] for end in ends)), max(end[1] for end in ends))
        axes[-1].set_xlabel("minutes from lit")
        if len(groups) > 1:
            named = {
                label: handle for ax in axes for handle, label in zip(*ax.get_legend_handles_labels(), strict=True)
            }
            letters = size.width_in * POINTS_PER_INCH / (0.6 * size.font_pt)
            columns = max(1, min(len(named), int(letters / (max(map(len, named)) + KEY_LETTERS))))
            figure.legend(named.values(), named, loc="outside upper right", ncols=columns, frameon=False)
    return figure


def comparison_figure(comparison: Comparison, size: Size) -> Figure:
    """Draw each result of a comparison: a dot a burn, each group's mean as a stroke with its 95 % interval.

    Args:
        comparison: The comparison.
        size: `WIDE` or `NARROW`.
    """
    rows = [compared for compared in comparison.compared if any(one.burns for one in compared.groups.values())]
    with repeatable("paper", size.font_pt):
        high_in = 0.55 + 0.24 * len(comparison.groups)
        figure = Figure(figsize=(size.width_in, high_in * max(len(rows), 1)), facecolor="white", layout="constrained")
        for ax, compared in zip(
            figure.subplots(max(len(rows), 1), 1, squeeze=False)[:, 0].tolist(), rows, strict=False
        ):
            draw_dots(ax, compared, size.font_pt)
            ax.xaxis.set_major_locator(MaxNLocator(6 if size.named_times else 3, steps=[1, 2, 2.5, 5, 10]))
            unit = {"": " (%)", "1": ""}.get(compared.unit, f" ({compared.unit})")
            ax.set_title(f"{result_title(compared.result)}{unit}", loc="left", fontsize=size.font_pt, weight="bold")
    return figure


def _water(burn: "Analysis") -> tuple[Values, Values]:
    column = burn.grid.get(Role.WATER)
    nothing = np.zeros(0)
    return (nothing, nothing) if column is None else (minutes(burn, column.t_s), column.value)


def _rate(burn: "Analysis") -> tuple[Values, Values]:
    return minutes(burn, burn.account.t_s), burn.account.burning_rate_g_min


def _draw_groups(
    ax: Axes,
    groups: Mapping[str, Sequence["Analysis"]],
    curve: Callable[["Analysis"], tuple[Values, Values]],
    kind: EventKind,
    size: Size,
) -> None:
    drawn_values = []
    for at, (name, group) in enumerate(groups.items()):
        colour, dash = GROUP_COLOURS[at], GROUP_DASHES[at % len(GROUP_DASHES)]
        for number, burn in enumerate(group):
            t_min, values = curve(burn)
            if not known(values):
                continue
            ax.plot(*drawn(t_min, values, size.columns), color=colour, ls=dash, lw=0.9, label=None if number else name)
            drawn_values.append(values[t_min > 0.0])
            for event in burn.events:
                if event.kind is kind:
                    moment = (event.t_s - zero_s(burn)) / 60.0
                    ax.plot(moment, np.interp(moment, t_min, values), "o", ms=3.5, mfc="white", mec=colour, zorder=3)
    low, high = limits(np.concatenate(drawn_values))
    ax.set_ylim(min(low, 0.0) if kind is EventKind.FLAMEOUT else low, high)


def _furnish(ax: Axes, title: str, size: Size) -> None:
    ax.spines[["top", "right"]].set_visible(False)
    ax.spines[["left", "bottom"]].set_color(FAINT)
    ax.grid(axis="y", color=RULE, lw=0.5, zorder=0)
    ax.set_axisbelow(True)
    ax.tick_params(width=0.6, length=2.5, color=FAINT)
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", MINUS))
    ax.annotate(
        title, (0, 1), xytext=(-0.3 * POINTS_PER_INCH, 0.45 * size.font_pt), xycoords="axes fraction",
        textcoords="offset points", weight="bold",
    )  # fmt: skip
