"""A comparison in the pieces of a page: what is written, and where what is drawn stands, in hundredths of its box."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.ticker import MaxNLocator

from emberline.heat.result import COVERAGE_95
from emberline.reports.figures import MINUS, SPACE, last_place, rounded
from emberline.reports.verdicts import counted, mean_and_interval, trend_words, verdict
from emberline.reports.wording import result_meaning, result_title
from emberline.trials.comparison.comparison import Compared, Comparison, GroupFigure

MARGIN = 0.06
"""Of an axis, on either side of what it shows."""


def result_parts(comparison: Comparison, wished: float | None = None) -> list[dict[str, Any]]:
    """Return each result's title, groups, dots, differences and trend.

    Args:
        comparison: The comparison.
        wished: The difference that a person wants to see shown, in the unit of the first result; None for a twentieth.
    """
    return [
        _parts(compared, comparison, wished if index == 0 else None)
        for index, compared in enumerate(comparison.compared)
    ]


def _parts(compared: Compared, comparison: Comparison, wished: float | None) -> dict[str, Any]:
    scale, unit = _scale(compared.unit)
    axis = _Axis([end for figure in compared.groups.values() for end in _ends(figure, scale)])
    said = [verdict(compared, one, wished) for one in compared.differences]
    if not said and len(compared.groups) > 1:
        said = ["Too few burns for a difference: two of each are the least."]
    return {
        "name": compared.result,
        "title": result_title(compared.result),
        "meaning": result_meaning(compared.result),
        "unit": unit,
        "ticks": axis.ticks(),
        "groups": [_group(compared, name, figure, axis, scale) for name, figure in compared.groups.items()],
        "said": said,
        "counted": counted(compared),
        "trend": trend_words(compared, ", ".join(comparison.by), comparison.level_unit),
        "line": _line(compared, comparison, scale),
    }


def _group(compared: Compared, name: str, figure: GroupFigure, axis: "_Axis", scale: float) -> dict[str, Any]:
    sample = figure.sample
    interval = (
        None if sample is None or sample.interval_95 is None else [axis(scale * end) for end in sample.interval_95]
    )
    half = COVERAGE_95 * figure.u_shared * scale
    return {
        "name": name,
        "n": len(figure.burns),
        "mean": mean_and_interval(compared, name),
        "sd": "–" if sample is None or sample.sd is None else f"{sample.sd * scale:.2g}",
        "cv": "–" if sample is None or sample.cv is None else f"{sample.cv * 100.0:.2g}{SPACE}%",
        "shared": "–" if not half else f"±{SPACE}{rounded(half, last_place(half))}",
        "dots": [axis(scale * one.value) for one in figure.burns],
        "trials": [one.trial for one in figure.burns],
        "at": None if sample is None else axis(scale * sample.mean),
        "interval": interval,
        "without": dict(figure.without),
    }


def _line(compared: Compared, comparison: Comparison, scale: float) -> dict[str, Any] | None:
    """Return the burns against a numeric factor, with the line and its band; None where there is no line."""
    found = compared.trend
    if found is None:
        return None
    burns = [(comparison.levels[one.trial], scale * one.value) for f in compared.groups.values() for one in f.burns]
    xs = np.linspace(min(x for x, _ in burns), max(x for x, _ in burns), 25)
    middle, half = scale * found.line(xs), scale * found.half_band(xs)
    across = _Axis([float(xs[0]), float(xs[-1])])
    up = _Axis([y for _, y in burns] + [float(one) for one in (*(middle - half), *(middle + half))])
    return {
        "factor": ", ".join(comparison.by),
        "level_unit": comparison.level_unit,
        "burns": [[across(x), up(y)] for x, y in burns],
        "line": [[across(float(x)), up(float(y))] for x, y in zip(xs, middle, strict=True)],
        "low": [[across(float(x)), up(float(y))] for x, y in zip(xs, middle - half, strict=True)],
        "high": [[across(float(x)), up(float(y))] for x, y in zip(xs, middle + half, strict=True)],
        "across": across.ticks(),
        "up": up.ticks(),
    }


def _ends(figure: GroupFigure, scale: float) -> Sequence[float]:
    values = [scale * one.value for one in figure.burns]
    if figure.sample is not None and figure.sample.interval_95 is not None:
        values += [scale * end for end in figure.sample.interval_95]
    return values


def _scale(unit: str) -> tuple[float, str]:
    return (100.0, "%") if unit == "" else (1.0, "" if unit == "1" else unit)


class _Axis:
    """Places values in hundredths of a box, and names some round ones."""

    def __init__(self, values: Sequence[float]) -> None:
        low, high = (min(values), max(values)) if values else (0.0, 1.0)
        room = MARGIN * (high - low) or 0.05 * abs(high) or 1.0
        self._low, self._high = low - room, high + room

    def __call__(self, value: float) -> float:
        return round(100.0 * (value - self._low) / (self._high - self._low), 2)

    def ticks(self) -> list[dict[str, Any]]:
        places = MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(self._low, self._high)
        shown = [float(one) for one in places if self._low <= one <= self._high]
        return [{"at": self(one), "label": f"{one:.6g}".replace("-", MINUS)} for one in shown]


def burns_of(comparison: Comparison, documents: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the burns whose curves are laid over one another, with the moments by which they are aligned.

    Args:
        comparison: The comparison.
        documents: The summary of each trial.
    """
    return [
        {
            "trial": burn.trial,
            "label": burn.label or burn.trial,
            "group": index,
            "lit": _moment(documents[burn.trial], "lit"),
            "pot_on": _moment(documents[burn.trial], "pot_on"),
        }
        for index, burns in enumerate(comparison.groups.values())
        for burn in burns
    ]


def _moment(document: Mapping[str, Any], kind: str) -> float | None:
    return next((event["t_s"] for event in document["events"] if event["kind"] == kind), None)
