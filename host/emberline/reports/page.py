"""The summary page of one trial: a single HTML file that stands alone on a screen and on paper."""

from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from emberline import __version__
from emberline.curves.events import EventKind, first
from emberline.reports import content
from emberline.reports.caution import CAUTION_CLOSE, CAUTION_POINTS, CAUTION_TITLE
from emberline.reports.facts import facts
from emberline.reports.figures import PLUS_MINUS_MEANS
from emberline.reports.methods import method_notes
from emberline.reports.panels import NARROW, WIDE
from emberline.reports.plots import burn_curves

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis


def summary_page(analysis: "Analysis", *, started: str | None = None) -> str:
    """Set a trial's summary as one self-contained HTML document.

    It refers to nothing outside itself, prints on A4, reads in colour and in grey, and is the same for the same input.

    Args:
        analysis: The final pass over the trial.
        started: When the trial began, as a person reads it; None where only times within the trial are known.
    """
    title = analysis.plan.label or f"Burn {analysis.trial}".strip()
    described = content.described(analysis)
    plots = [burn_curves(analysis, size, title=f"Curves of {title}", description=described) for size in (WIDE, NARROW)]
    return (
        _environment()
        .get_template("summary.html.j2")
        .render(
            title=title,
            trial=analysis.trial,
            bench=analysis.bench,
            started=started,
            version=__version__,
            factors=analysis.plan.factors,
            facts=facts(analysis.plan),
            headlines=content.headlines(analysis),
            plots=[Markup(plot) for plot in plots if plot],  # noqa: S704 - our own markup, its texts escaped in svg.py
            events=content.event_rows(analysis),
            lit=first(analysis.events, EventKind.LIT) is not None,
            retractions=content.retractions(analysis),
            visits=content.visit_rows(analysis),
            phases=content.phase_rows(analysis),
            groups=content.result_groups(analysis),
            absent=content.absent_rows(analysis),
            budgets=content.budget_rows(analysis),
            quality=content.quality_texts(analysis),
            methods=method_notes(analysis),
            plus_minus=PLUS_MINUS_MEANS,
            caution_title=CAUTION_TITLE,
            caution_points=CAUTION_POINTS,
            caution_close=CAUTION_CLOSE,
        )
    )


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("emberline.reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
