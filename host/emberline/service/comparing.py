"""Comparisons of stored trials, by their kept summaries; for pages, in a process of its own."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from emberline.bench.plan import parse_plan
from emberline.reports.burn_table import COLUMNS, table_row
from emberline.reports.cards import Shape, comparison_card
from emberline.reports.comparison_parts import burns_of, result_parts
from emberline.reports.drawing import Picture
from emberline.reports.wording import COMPARED
from emberline.service.comparisons import Query
from emberline.service.series_standing import rule_kept, standing_of
from emberline.store.errors import UnknownSeriesError
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.trials.comparison.comparison import Burn, Comparison, compare, grouped
from emberline.trials.comparison.confounding import Circumstances
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.series import Series

Document = Mapping[str, Any]

WEATHER = {
    "air temperature": ("air_c", 1.0),
    "air pressure": ("pressure_pa", 0.01),
    "wind on the scale": ("load_wavering_g", 1.0),
}
"""Where a summary's conditions have what a comparison looks at, and the factor to its unit."""


def burn_of(trial: Trial, document: Document) -> Burn:
    """Return a trial as a comparison sees it.

    Args:
        trial: The trial.
        document: Its summary.
    """
    conditions = document["conditions"]
    weather = {name: conditions[key] * factor for name, (key, factor) in WEATHER.items() if conditions[key] is not None}
    excluded = document["excluded"]
    return Burn(
        trial=trial.id,
        label=document["label"],
        bench=trial.bench,
        lot=parse_plan(trial.plan_text).fuel.lot,
        results=document["results"],
        absent=document["absent"],
        circumstances=Circumstances(None if trial.relative else trial.start_ns, document["factors"], weather),
        left_out=None if excluded is None else excluded["why"],
    )


def by_factors(
    trials: Sequence[tuple[Trial, Document]],
    by: Sequence[str],
    results: Sequence[str],
    where: Mapping[str, str] | None = None,
    series: str = "",
) -> Comparison:
    """Compare trials grouped by factors.

    Args:
        trials: Trials with their summaries.
        by: The factors.
        results: Names of the results.
        where: Levels of factors that a trial must have to take part.
        series: Name of the planned series to which a trial must belong; empty for any.

    Raises:
        ComparisonError: No trial takes part, or no trial has such a factor.
    """
    burns = [
        burn_of(trial, document)
        for trial, document in trials
        if (not series or parse_plan(trial.plan_text).series == series)
        and all(document["factors"].get(name) == level for name, level in (where or {}).items())
    ]
    if not burns:
        raise ComparisonError('no trial takes part: factors are given in the plan, such as factors = { holes = "12" }')
    # Where no trial has such a factor, grouping says so.
    taking_part = [burn for burn in burns if burn.circumstances.factors.keys() & set(by)] or burns
    return compare(grouped(taking_part, by), results, by)


class Comparer:
    """Compares trials for pages; made in a process of its own, since what it loads is large."""

    def __init__(self, store: Path) -> None:
        """Look into a store."""
        self._store = StoreReader(store)

    def parts(self, query: Query) -> dict[str, Any]:
        """Return what a page shows of a comparison; under `refused` why there is none."""
        try:
            comparison, documents, series = self._compared(query)
        except (ComparisonError, UnknownSeriesError) as error:
            return {"refused": str(error)}
        plans = {trial.id: parse_plan(trial.plan_text) for trial in self._store.trials()}
        groups = {burn.trial: name for name, burns in comparison.groups.items() for burn in burns}
        rows = [
            table_row(documents[trial], plans[trial], groups.get(trial, ""))
            for trial in [*groups, *(burn.trial for burn in comparison.left_out)]
        ]
        rule = None if series is None else rule_kept(series, comparison)
        return {
            "refused": "",
            "results": result_parts(comparison, query.wished),
            "warnings": comparison.warnings,
            "rule": None if rule is None else {"words": rule.words, "broken": rule.broken},
            "columns": COLUMNS,
            "rows": rows,
            "groups": list(comparison.groups),
            "burns": burns_of(comparison, documents),
        }

    def card(self, query: Query, title: str, square: bool, picture: str) -> bytes | str:
        """Return a comparison's card, or why there is none."""
        try:
            comparison, _, _ = self._compared(query)
        except (ComparisonError, UnknownSeriesError) as error:
            return str(error)
        named = title or " or ".join(comparison.groups)
        return comparison_card(comparison, named, Shape.SQUARE if square else Shape.WIDE, Picture(picture))

    def _compared(self, query: Query) -> tuple[Comparison, dict[str, Document], Series | None]:
        kept = [(trial, document) for trial in self._store.trials() if (document := self._document(trial)) is not None]
        documents = {trial.id: document for trial, document in kept}
        results = query.results or COMPARED
        if query.series:
            series = standing_of(self._store, query.series).series
            results = tuple(dict.fromkeys((series.result, *results)))
            return by_factors(kept, series.factors, results, series=series.name), documents, series
        if not query.groups:
            return by_factors(kept, query.by, results, query.where), documents, None
        by_id = {trial.id: trial for trial, _ in kept}
        unknown = [one for ids in query.groups.values() for one in ids if one not in by_id]
        if unknown:
            raise ComparisonError(f"trial {unknown[0]} has no summary yet, or there is none of that name")
        groups = {name: [burn_of(by_id[one], documents[one]) for one in ids] for name, ids in query.groups.items()}
        return compare(groups, results), documents, None

    def _document(self, trial: Trial) -> Document | None:
        """Return the kept summary of an ended trial; None where there is none, or one of an earlier version."""
        kept = None if trial.end_ns is None else self._store.summary(trial.id)
        document: Document | None = None if kept is None else json.loads(kept.document)
        return document if document is not None and "conditions" in document else None
