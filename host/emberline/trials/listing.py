"""What a list of trials shows of each: made with the summary, so that a list of a thousand is read and not made."""

import math
from typing import Any

import numpy as np

from emberline.curves.events import EventKind, first, last
from emberline.trials.analysis import Analysis
from emberline.trials.corrections import AddEvent, Change, DeleteEvent, EditPlan, MoveEvent, exclusion, standing

SPARK_POINTS = 60
"""Points of the small curve of burning rate; a list has no room for more."""
_DIGITS = 5


def listing_document(analysis: Analysis) -> dict[str, Any]:
    """Return the listing of a trial as plain JSON values."""
    out = exclusion(analysis.log)
    boils = [event for event in analysis.events if event.kind is EventKind.BOIL]
    return {
        "label": analysis.plan.label,
        "factors": dict(analysis.plan.factors),
        "notes": [event.evidence for event in analysis.events if event.kind is EventKind.NOTE],
        "results": {
            name: [_short(result.value.nominal_value), _short(result.value.std_dev), result.unit]
            for name, result in analysis.results.values.items()
        },
        "absent": {name: why for name, why in analysis.results.absent.items() if name == "burn_time"},
        "spark": spark(analysis),
        "excluded": None if out is None else out.why,
        "corrected": any(_changes_results(entry.change) for entry in standing(analysis.log)),
        "unconfirmed_boil": any(not boil.confirmed for boil in boils),
        "corrections": len(analysis.log),
    }


def spark(analysis: Analysis) -> list[float | None]:
    """Return the burning rate in g/min from lit to a little after flameout, averaged; None where it is not known."""
    rate = analysis.account.burning_rate_g_min
    lit, out = first(analysis.events, EventKind.LIT), last(analysis.events, EventKind.FLAMEOUT)
    low = 0 if lit is None else max(0, int(lit.t_s))
    high = len(rate) if out is None else min(len(rate), int(low + 1.1 * (out.t_s - low)) + 1)
    parts = np.array_split(rate[low:high], min(SPARK_POINTS, max(1, high - low)))
    means = [float(np.nanmean(part)) if np.isfinite(part).any() else None for part in parts]
    return [None if mean is None else round(mean, 2) for mean in means]


def _changes_results(change: Change) -> bool:
    if isinstance(change, AddEvent):
        return change.kind is not EventKind.NOTE
    return isinstance(change, MoveEvent | DeleteEvent | EditPlan)


def _short(value: float) -> float | None:
    return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
