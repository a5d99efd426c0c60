"""Comparing stored trials."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from emberline.app.stored import STORE_NAME, find_trial, plan_of
from emberline.app.summaries import Document, Stage, document_of
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.trials.comparison.comparison import Burn, Comparison, compare, grouped
from emberline.trials.comparison.confounding import Circumstances
from emberline.trials.comparison.errors import ComparisonError

_WEATHER = {
    "air temperature": ("air_c", 1.0),
    "air pressure": ("pressure_pa", 0.01),
    "wind on the scale": ("load_wavering_g", 1.0),
}
"""Where a summary's conditions have what a comparison looks at, and the factor to its unit."""


def compare_by(
    data: Path,
    by: Sequence[str],
    results: Sequence[str],
    where: Mapping[str, str] | None = None,
    series: str | None = None,
    stage: Stage = lambda _: None,
) -> Comparison:
    """Compare the trials of a store, grouped by factors.

    Args:
        data: Data directory.
        by: Factors by which to group them.
        results: Names of the results.
        where: Levels of factors that a trial must have to take part.
        series: Name of the planned series to which a trial must belong; None for any.
        stage: Is told what begins.

    Raises:
        StoreError: There is no store, or it cannot be read.
        ComparisonError: No trial takes part, or no trial has such a factor.
    """
    store = StoreReader(data / STORE_NAME)
    ended = [trial for trial in store.trials() if trial.end_ns is not None]
    if series is not None:
        ended = [trial for trial in ended if plan_of(trial).series == series]
    burns = [burn_of(trial, document_of(data, trial, stage)) for trial in ended]
    burns = [burn for burn in burns if _has(burn, where or {})]
    if not burns:
        raise ComparisonError('no trial takes part: factors are given in the plan, such as factors = { holes = "12" }')
    # Of no trial with such a factor, grouping says so.
    return compare(
        grouped([burn for burn in burns if burn.circumstances.factors.keys() & by] or burns, by), results, by
    )


def compare_groups(
    data: Path, groups: Mapping[str, Sequence[str]], results: Sequence[str], stage: Stage = lambda _: None
) -> Comparison:
    """Compare groups of trials that a person chose.

    Args:
        data: Data directory.
        groups: Ids of trials by group.
        results: Names of the results.
        stage: Is told what begins.

    Raises:
        StoreError: There is no store or no such trial, or it cannot be read.
        ComparisonError: A trial stands in two groups.
    """
    store = StoreReader(data / STORE_NAME)
    chosen = {name: [find_trial(store, one) for one in trials] for name, trials in groups.items()}
    return compare(
        {
            name: [burn_of(trial, document_of(data, trial, stage)) for trial in trials]
            for name, trials in chosen.items()
        },
        results,
    )


def burn_of(trial: Trial, document: Document) -> Burn:
    """Return a trial as a comparison sees it.

    Args:
        trial: The trial.
        document: Its summary.
    """
    conditions = document["conditions"]
    weather = {
        name: conditions[key] * factor for name, (key, factor) in _WEATHER.items() if conditions[key] is not None
    }
    excluded = document["excluded"]
    return Burn(
        trial=trial.id,
        label=document["label"],
        bench=trial.bench,
        lot=plan_of(trial).fuel.lot,
        results=document["results"],
        absent=document["absent"],
        circumstances=Circumstances(None if trial.relative else trial.start_ns, document["factors"], weather),
        left_out=None if excluded is None else excluded["why"],
    )


def _has(burn: Burn, where: Mapping[str, str]) -> bool:
    return all(burn.circumstances.factors.get(name) == level for name, level in where.items())
