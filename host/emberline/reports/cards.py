"""Cards to show to others: one burn, or a comparison, as a picture of a fixed size."""

import textwrap
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from emberline import __version__
from emberline.curves.events import EventKind
from emberline.reports.caution import CAUTION_LINE
from emberline.reports.content import headlines
from emberline.reports.dots import draw_dots
from emberline.reports.drawing import Picture, picture_bytes, repeatable
from emberline.reports.facts import facts
from emberline.reports.figures import MINUS, PLUS_MINUS_MEANS, SPACE, THIN_SPACE
from emberline.reports.panels import FAINT, INK, RATE, RULE, WATER
from emberline.reports.thinning import band, drawn, known, limits
from emberline.reports.timeline import minutes, span_min, zero_s
from emberline.reports.verdicts import verdict
from emberline.reports.wording import EVENTS, result_title
from emberline.trials.comparison.comparison import Comparison

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

PAPER, ACCENT, SOFT = "#fcfaf5", "#9a3b0b", "#5a5249"
DPI = 100.0
SERIF = ["DejaVu Serif"]
INTERVALS_ARE = "Dots are burns; strokes are means with their 95 % intervals by the scatter of the burns"
MOST_RESULTS = 3
"""On one comparison card; more are too small to read."""
_MARKED = (EventKind.LIT, EventKind.POT_ON, EventKind.BOIL, EventKind.POT_OFF, EventKind.REFUEL, EventKind.FLAMEOUT)


@dataclass(frozen=True, slots=True)
class _Measures:
    """Pixels of a shape: its size, its margin, and the letters of body text in points."""

    width: int
    height: int
    margin: int
    body_pt: float
    columns: int


class Shape(Enum):
    """Shape of a card."""

    WIDE = _Measures(1920, 1080, 80, 19.0, 3)
    SQUARE = _Measures(1080, 1080, 64, 15.0, 2)


def result_card(analysis: "Analysis", shape: Shape, picture: Picture, *, started: str | None = None) -> bytes:
    """Draw a card of one burn: its main figures, its burning rate and water, what was burnt, the caution.

    Args:
        analysis: The final pass.
        shape: Its shape.
        picture: File format.
        started: When the burn began, as a person reads it; None where only times within it are known.
    """
    title = analysis.plan.label or f"Burn {analysis.trial}"
    factors = ", ".join(f"{name} {level}" for name, level in analysis.plan.factors.items())
    about = [part for part in (factors, started or "", f"bench {analysis.bench}") if part]
    with repeatable(f"card-{shape.name.lower()}", shape.value.body_pt, letters_as_shapes=True):
        told = "; ".join(f"{term.lower()}: {', '.join(statements)}" for term, statements in facts(analysis.plan))
        card = _Card(shape, [told, PLUS_MINUS_MEANS])
        card.head(title, "  ·  ".join(about))
        card.numbers(analysis)
        card.curves(analysis)
        return card.bytes(picture)


def comparison_card(comparison: Comparison, title: str, shape: Shape, picture: Picture) -> bytes:
    """Draw a card of a comparison: each of the first results as dots with intervals, and what it says.

    Args:
        comparison: The comparison; of more than `MOST_RESULTS` results only the first are drawn.
        title: What is compared.
        shape: Its shape.
        picture: File format.
    """
    burns = sum(len(group) for group in comparison.groups.values())
    left_out = len(comparison.left_out)
    about = f"{burns} burns" + (f", {left_out} left out: see the table" if left_out else "")
    with repeatable(f"comparison-{shape.name.lower()}", shape.value.body_pt, letters_as_shapes=True):
        card = _Card(shape, [*comparison.warnings, INTERVALS_ARE])
        card.head(title, about)
        card.dots(comparison)
        return card.bytes(picture)


class _Card:
    """A card as it is drawn from top to bottom; places in pixels from its top left."""

    def __init__(self, shape: Shape, told: list[str]) -> None:
        self._at = shape.value
        self._top = float(self._at.margin)
        self._figure = Figure(figsize=(self._at.width / DPI, self._at.height / DPI), dpi=DPI, facecolor=PAPER)
        self._bottom = self._foot(told)

    def head(self, title: str, about: str) -> None:
        """Write the title and the line beneath it."""
        at = self._at
        size_pt = 2.5 * at.body_pt
        fits = int((at.width - 2 * at.margin) / (0.62 * _px(size_pt)))
        for line in textwrap.wrap(title, fits, max_lines=2, placeholder="…"):
            self._text(at.margin, self._top, line, size_pt, weight="bold", family=SERIF)
            self._top += 1.25 * _px(size_pt)
        if about:
            fits = int((at.width - 2 * at.margin) / (0.56 * _px(at.body_pt)))
            for line in textwrap.wrap(about, fits, max_lines=2, placeholder="…"):
                self._text(at.margin, self._top, line, at.body_pt, color=ACCENT)
                self._top += 1.35 * _px(at.body_pt)
        self._rule(self._top + 0.35 * _px(at.body_pt), INK, 2.0)
        self._top += 1.0 * _px(at.body_pt)

    def numbers(self, analysis: "Analysis") -> None:
        """Write the main figures, so many in a row."""
        at = self._at
        column = (at.width - 2 * at.margin) / at.columns
        high = 4.6 * _px(at.body_pt)
        shown = headlines(analysis)
        for index, headline in enumerate(shown):
            x = at.margin + (index % at.columns) * column
            y = self._top + (index // at.columns) * high
            self._text(x, y, headline.title, 0.85 * at.body_pt, color=SOFT)
            if headline.parts is None:
                self._text(x, y + 1.4 * _px(at.body_pt), "not known", 1.4 * at.body_pt, color=SOFT)
                continue
            told = headline.parts
            nominal = _plain(told.nominal)
            self._text(x, y + 1.35 * _px(at.body_pt), nominal, 2.1 * at.body_pt, weight="bold")
            half = f"±{SPACE}{told.half}{SPACE}{told.unit}" if told.half else told.unit
            right = x + len(nominal) * 0.72 * _px(2.1 * at.body_pt) + 0.4 * _px(at.body_pt)
            self._text(right, y + 2.3 * _px(at.body_pt), _plain(half), at.body_pt)
        self._top += -(-len(shown) // at.columns) * high

    def curves(self, analysis: "Analysis") -> None:
        """Draw burning rate and water temperature over time, with the events."""
        at, account = self._at, analysis.account
        high = self._bottom - self._top - 6.2 * _px(at.body_pt)
        if not known(account.burning_rate_g_min) or high < 8 * _px(at.body_pt):
            return
        side = 3.0 * _px(at.body_pt)
        box = (at.margin + side, self._top + 3.0 * _px(at.body_pt), at.width - 2 * at.margin - 2 * side, high)
        ax = self._axes(*box)
        t_min = minutes(analysis, account.t_s)
        ax.fill_between(
            *band(t_min, account.burning_rate_g_min, account.u_burning_rate_g_min, 900), color=RATE, alpha=0.25, lw=0
        )
        ax.plot(*drawn(t_min, account.burning_rate_g_min, 900), color=RATE, lw=2.4)
        ax.set_ylim(0.0, limits(account.burning_rate_g_min)[1] * 1.15)
        ax.set_xlim(*span_min(analysis))
        self._furnish(ax)
        self._text(box[0] - side, self._top, "burning rate, g/min", 0.85 * at.body_pt, color=RATE, weight="bold")
        water = next((column for role, column in analysis.grid.columns.items() if role.value == "water"), None)
        if water is not None and known(water.value):
            beside = ax.twinx()
            beside.plot(*drawn(minutes(analysis, water.t_s), water.value, 900), color=WATER, lw=1.8, ls=(0, (5, 1.5)))
            beside.set_ylim(0.0, 112.0)
            beside.spines[["top", "left", "right", "bottom"]].set_visible(False)
            beside.tick_params(length=0, labelcolor=WATER)
            x = box[0] + box[2] + side
            self._text(x, self._top, "water, °C", 0.85 * at.body_pt, color=WATER, weight="bold", ha="right")
        low, high_min = ax.get_xlim()
        last = -1e9
        for event in analysis.events:
            when = (event.t_s - zero_s(analysis)) / 60.0
            if event.kind not in _MARKED or not low <= when <= high_min:
                continue
            ax.axvline(when, color=INK, lw=0.9, alpha=0.7)
            x = box[0] + (when - low) / (high_min - low) * box[2]
            name = EVENTS[event.kind]
            if x - last > 0.62 * _px(0.8 * at.body_pt) * (len(name) + 1):
                self._text(x, box[1] - 0.1 * _px(at.body_pt), name, 0.8 * at.body_pt, va="bottom", ha="center")
                last = x
        ax.set_xlabel("minutes from lit")

    def dots(self, comparison: Comparison) -> None:
        """Draw the first results, each with what it says beneath."""
        at = self._at
        results = comparison.compared[:MOST_RESULTS]
        room = (self._bottom - self._top) / max(1, len(results))
        fits = int((at.width - 2 * at.margin) / (0.56 * _px(0.95 * at.body_pt)))
        for compared in results:
            top = self._top
            self._text(at.margin, top, result_title(compared.result), 1.15 * at.body_pt, weight="bold", family=SERIF)
            said = [verdict(compared, one) for one in compared.differences[:2]] or [
                "Too few burns for a difference: two of each are the least."
            ]
            lines = [line for words in said for line in textwrap.wrap(_plain(words), fits)]
            below = 1.4 * _px(0.95 * at.body_pt) * len(lines) + 2.0 * _px(at.body_pt)
            head = 2.0 * _px(at.body_pt)
            left, right = 8.5 * _px(at.body_pt), 9.0 * _px(at.body_pt)
            high = max(room - below - head - 0.6 * _px(at.body_pt), 2.0 * _px(at.body_pt))
            ax = self._axes(at.margin + left, top + head, at.width - 2 * at.margin - left - right, high)
            draw_dots(ax, compared, 0.85 * at.body_pt)
            ax.tick_params(labelsize=0.85 * at.body_pt)
            y = top + head + high + 1.7 * _px(at.body_pt)
            for line in lines:
                self._text(at.margin, y, line, 0.95 * at.body_pt)
                y += 1.4 * _px(0.95 * at.body_pt)
            self._top += room

    def bytes(self, picture: Picture) -> bytes:
        """Return the file."""
        return picture_bytes(self._figure, picture, DPI)

    def _foot(self, told: list[str]) -> float:
        """Write what is told in small, and the caution, at the bottom; return where it begins."""
        at = self._at
        size_pt = 0.72 * at.body_pt
        line_px = 1.45 * _px(size_pt)
        fits = int((at.width - 2 * at.margin) / (0.54 * _px(size_pt)))
        lines = [line for words in told for line in textwrap.wrap(_plain(words), fits, max_lines=3, placeholder="…")]
        cautions = textwrap.wrap(f"{CAUTION_LINE} Emberline {__version__}", int(fits * 0.9))
        top = at.height - 0.55 * at.margin - line_px * (len(lines) + len(cautions))
        self._rule(top - 0.6 * line_px, RULE, 1.2)
        y = top
        for line in lines:
            self._text(at.margin, y, line, size_pt, color=SOFT)
            y += line_px
        for line in cautions:
            self._text(at.margin, y, line, size_pt, color=ACCENT, weight="bold")
            y += line_px
        return top - line_px

    def _axes(self, x: float, y: float, wide: float, high: float) -> Axes:
        at = self._at
        box = (x / at.width, 1.0 - (y + high) / at.height, wide / at.width, high / at.height)
        return self._figure.add_axes(box)

    def _furnish(self, ax: Axes) -> None:
        ax.spines[["top", "right"]].set_visible(False)
        ax.spines[["left", "bottom"]].set_color(FAINT)
        ax.grid(axis="y", color=RULE, lw=0.8)
        ax.set_axisbelow(True)
        ax.tick_params(color=FAINT, labelcolor=INK)
        ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", MINUS))

    def _rule(self, y: float, colour: str, width: float) -> None:
        at = self._at
        ends = [at.margin / at.width, 1.0 - at.margin / at.width]
        self._figure.add_artist(Line2D(ends, [1.0 - y / at.height] * 2, color=colour, lw=width))

    def _text(self, x: float, y: float, words: str, size_pt: float, **style: Any) -> None:
        settings = {"color": INK, "va": "top", "ha": "left", **style}
        self._figure.text(x / self._at.width, 1.0 - y / self._at.height, words, fontsize=size_pt, **settings)


def _px(points: float) -> float:
    return points * DPI / 72.0


def _plain(words: str) -> str:
    """Return words with signs that the picture's fonts have."""
    return words.replace(THIN_SPACE, SPACE)
