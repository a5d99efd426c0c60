"""A comparison as plain JSON values, for other programs."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from emberline.trials.comparison.comparison import Compared, Comparison, GroupFigure
from emberline.trials.comparison.differences import Difference

COMPARISON_SCHEMA = "emberline.comparison/1"


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison's document; numbers are finite, and what is not known is null."""
    return {
        "schema": COMPARISON_SCHEMA,
        "by": list(comparison.by),
        "groups": {name: [burn.trial for burn in burns] for name, burns in comparison.groups.items()},
        "left_out": {burn.trial: burn.left_out for burn in comparison.left_out},
        "results": {one.result: _compared(one) for one in comparison.compared},
        "warnings": list(comparison.warnings),
    }


def _compared(compared: Compared) -> dict[str, Any]:
    trend = compared.trend
    return {
        "unit": compared.unit,
        "groups": {name: _figure(figure) for name, figure in compared.groups.items()},
        "differences": [_difference(one) for one in compared.differences],
        "trend": None if trend is None else {**asdict(trend), "slope_interval_95": list(trend.slope_interval_95)},
    }


def _figure(figure: GroupFigure) -> dict[str, Any]:
    sample = figure.sample
    return {
        "values": {one.trial: one.value for one in figure.burns},
        "absent": dict(figure.without),
        "n": len(figure.burns),
        "mean": None if sample is None else sample.mean,
        "sd": None if sample is None else sample.sd,
        "cv": None if sample is None else sample.cv,
        "interval_95": None if sample is None or sample.interval_95 is None else list(sample.interval_95),
        "u_shared": figure.u_shared,
    }


def _difference(one: Difference) -> Mapping[str, Any]:
    return {
        "a": one.a,
        "b": one.b,
        "value": one.value,
        "u": one.u,
        "u_shared": one.u_shared,
        "df": one.df,
        "interval_95": list(one.interval_95),
        "p": one.p,
        "p_holm": one.p_holm,
        "shown": one.shown,
    }
