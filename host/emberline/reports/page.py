"""The summary page of one trial: a single HTML file that stands alone on a screen and on paper, and its parts."""

from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from emberline import __version__
from emberline.curves.events import EventKind, first
from emberline.reports import content
from emberline.reports.caution import CAUTION_CLOSE, CAUTION_POINTS, CAUTION_TITLE
from emberline.reports.corrections import correction_rows
from emberline.reports.facts import facts
from emberline.reports.figures import PLUS_MINUS_MEANS
from emberline.reports.methods import method_notes
from emberline.reports.panels import NARROW, WIDE
from emberline.reports.plots import burn_curves
from emberline.reports.timeline import zero_s
from emberline.trials.corrections import exclusion

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

_SVG = "http://www.w3.org/2000/svg"


@dataclass(frozen=True, slots=True)
class SummaryTexts:
    """A summary set in type.

    Attributes:
        page: The whole page.
        head: Its large numbers and what was burnt, as HTML for another page.
        rest: What follows the events, likewise.
        picture: The curves as an SVG file; empty where the trial holds no reading.
    """

    page: str
    head: str
    rest: str
    picture: str


def summary_page(analysis: "Analysis", *, started: str | None = None, zone: tzinfo = UTC) -> str:
    """Set a trial's summary as one self-contained HTML document; see `summary_texts`."""
    return summary_texts(analysis, started=started, zone=zone).page


def summary_texts(analysis: "Analysis", *, started: str | None = None, zone: tzinfo = UTC) -> SummaryTexts:
    """Set a trial's summary in type.

    The page refers to nothing outside itself, prints on A4, reads in colour and in grey, and is the same for the same
    input.

    Args:
        analysis: The final pass over the trial.
        started: When the trial began, as a person reads it; None where only times within the trial are known.
        zone: Time zone in which a person reads when corrections were made.
    """
    title = analysis.plan.label or f"Burn {analysis.trial}".strip()
    described = content.described(analysis)
    plots = [burn_curves(analysis, size, title=f"Curves of {title}", description=described) for size in (WIDE, NARROW)]
    excluded = exclusion(analysis.log)
    values = {
        "title": title,
        "trial": analysis.trial,
        "bench": analysis.bench,
        "started": started,
        "version": __version__,
        "factors": analysis.plan.factors,
        "facts": facts(analysis.plan),
        "headlines": content.headlines(analysis),
        "plots": [Markup(plot) for plot in plots if plot],  # noqa: S704 - our own markup, its texts escaped in svg.py
        "events": content.event_rows(analysis),
        "lit": first(analysis.events, EventKind.LIT) is not None,
        "retractions": content.retractions(analysis),
        "visits": content.visit_rows(analysis),
        "phases": content.phase_rows(analysis),
        "groups": content.result_groups(analysis),
        "absent": content.absent_rows(analysis),
        "budgets": content.budget_rows(analysis),
        "quality": content.quality_texts(analysis),
        "methods": method_notes(analysis),
        "corrections": correction_rows(analysis.log, zero_s(analysis), zone),
        "excluded": None if excluded is None else f"{excluded.why} ({excluded.who})",
        "plus_minus": PLUS_MINUS_MEANS,
        "caution_title": CAUTION_TITLE,
        "caution_points": CAUTION_POINTS,
        "caution_close": CAUTION_CLOSE,
    }
    environment = _environment()
    page, head, rest = (
        environment.get_template(f"{name}.html.j2").render(values)
        for name in ("summary", "summary_head", "summary_rest")
    )
    return SummaryTexts(page, head, rest, plots[0].replace("<svg ", f'<svg xmlns="{_SVG}" ', 1))


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("emberline.reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
