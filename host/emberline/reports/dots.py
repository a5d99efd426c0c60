"""Single burns as dots, and each group's mean with its interval."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from emberline.reports.figures import MINUS
from emberline.reports.panels import FAINT, FLAME, INK, RULE
from emberline.reports.verdicts import mean_and_interval
from emberline.trials.comparison.comparison import Compared

LONGEST_NAME = 24


def draw_dots(ax: Axes, compared: Compared, font_pt: float) -> None:
    """Draw the groups from top to bottom: burns as open dots, means as strokes with their intervals, figures beside."""
    scale = 100.0 if compared.unit == "" else 1.0
    names = list(compared.groups)
    for row, name in enumerate(names):
        figure = compared.groups[name]
        values = scale * np.array([one.value for one in figure.burns])
        # Equal values stand beside each other rather than on one another.
        lifts = 0.16 * ((np.arange(len(values)) % 3) - 1.0)
        ax.plot(values, row + lifts, "o", ms=0.62 * font_pt, mfc="none", mec=FLAME, mew=1.1, zorder=3)
        sample = figure.sample
        if sample is None:
            continue
        mean = scale * sample.mean
        if sample.interval_95 is not None:
            low, high = (scale * end for end in sample.interval_95)
            ax.plot([low, high], [row, row], color=INK, lw=0.22 * font_pt, solid_capstyle="butt", zorder=2)
        ax.plot([mean, mean], [row - 0.3, row + 0.3], color=INK, lw=0.28 * font_pt, zorder=4)
        ax.annotate(
            mean_and_interval(compared, name),
            (1.0, row),
            xytext=(0.8 * font_pt, 0.0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            va="center",
        )
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.set_yticks(range(len(names)), [_short(name, len(compared.groups[name].burns)) for name in names])
    ax.margins(x=0.08)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.spines["bottom"].set_color(FAINT)
    ax.grid(axis="x", color=RULE, lw=0.6)
    ax.set_axisbelow(True)
    ax.tick_params(axis="y", length=0)
    ax.tick_params(axis="x", color=FAINT, labelcolor=INK)
    ax.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", MINUS))


def _short(name: str, burns: int) -> str:
    shown = name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"
    return f"{shown} ({burns})"
