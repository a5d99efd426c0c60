"""The curves of one burn as pictures: temperatures, load cell, the ledger's parts, burning rate, events."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from emberline.curves.events import Event, EventKind, Phase, first
from emberline.reports.drawing import repeatable
from emberline.reports.figures import clock
from emberline.reports.marks import Flag, Lane, Mark, place_flags
from emberline.reports.panels import INK, POINTS_PER_INCH, Panel, Size, furnish, panels_of
from emberline.reports.svg import inline_svg
from emberline.reports.timeline import minutes, span_min, zero_s
from emberline.reports.wording import EVENTS, PHASES

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

PHASE_FILL = {Phase.KINDLING: "#efe3cf", Phase.FLAMING: "#e3b98c", Phase.CHAR: "#b9b2a8"}

_MAIN = (EventKind.LIT, EventKind.POT_ON, EventKind.BOIL, EventKind.POT_OFF, EventKind.FLAMEOUT)


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
    with repeatable(size.key, size.font_pt):
        figure = curves_figure(analysis, size)
        return "" if figure is None else inline_svg(figure, key=size.key, title=title, description=description)


def curves_figure(analysis: "Analysis", size: Size) -> Figure | None:
    """Draw all curves of a burn over one time axis; None where the trial holds no reading at all.

    Call it within `drawing.repeatable`.
    """
    panels = panels_of(analysis)
    return _figure(analysis, size, panels) if panels else None


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
        return (t_min - low) / (high - low) * self.wide_in * POINTS_PER_INCH


def _figure(analysis: "Analysis", size: Size, panels: list[Panel]) -> Figure:
    line_in = size.font_pt * 1.45 / POINTS_PER_INCH
    left_in, right_in = 0.46, 0.08
    heights = [panel.height * size.unit_in for panel in panels]
    head_in = line_in * (1.1 if size.named_times else 2.1)
    below_in = line_in + sum(heights) + len(panels) * (head_in + 0.06) + 2.3 * line_in
    bare = _Measures(left_in, size.width_in - left_in - right_in, 0.0, line_in, below_in, span_min(analysis))
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
        panel.draw(ax, analysis, size)
        furnish(ax, panel, size, last=panel is panels[-1])
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
    t_min, phases = minutes(analysis, analysis.account.t_s), analysis.account.phase
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
        t_min = (event.t_s - zero_s(analysis)) / 60.0
        if at.span_min[0] <= t_min <= at.span_min[1]:
            events.append(event)
            rank = 0 if event.kind in _MAIN else 1 if event.kind is EventKind.REFUEL else 2
            marks.append(Mark(at.points(t_min), _names(event, number, analysis, size), rank))
    # Names may hang over the axis labels' margin on the left.
    lane = Lane(-0.4 * POINTS_PER_INCH, at.wide_in * POINTS_PER_INCH, size.rows, size.font_pt * 0.6, size.font_pt * 0.3)
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
                low + x_pt / (at.wide_in * POINTS_PER_INCH) * (high - low),
                color=INK,
                lw=width,
                ls=dashes,
                alpha=0.75,
                zorder=1.5,
            )
        if flag.row < 0:
            continue
        x = (at.left_in + x_pt / POINTS_PER_INCH) / size.width_in
        foot = 1 - at.lane_in / at.total_in
        top = 1 - (at.lane_in - (flag.row + 0.95) * at.line_in) / at.total_in
        figure.add_artist(Line2D([x, x], [foot, top], color=INK, lw=width, ls=dashes, alpha=0.75))
        right = flag.left >= x_pt
        figure.text(
            x + (1 if right else -1) * 0.3 * size.font_pt / POINTS_PER_INCH / size.width_in,
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
