"""Comparing stored trials; a summary that this version has not written is worked out anew first."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from emberline.app.stored import STORE_NAME, find_trial
from emberline.app.summaries import Stage, document_of
from emberline.service.comparing import burn_of, by_factors
from emberline.store.reader import StoreReader
from emberline.trials.comparison.comparison import Comparison, compare


def compare_by(
    data: Path,
    by: Sequence[str],
    results: Sequence[str],
    where: Mapping[str, str] | None = None,
    series: str = "",
    stage: Stage = lambda _: None,
) -> Comparison:
    """Compare the trials of a store, grouped by factors; see `by_factors`.

    Args:
        data: Data directory.
        by: Factors by which to group them.
        results: Names of the results.
        where: Levels of factors that a trial must have to take part.
        series: Name of the planned series to which a trial must belong; empty for any.
        stage: Is told what begins.

    Raises:
        StoreError: There is no store, or it cannot be read.
        ComparisonError: No trial takes part, or no trial has such a factor.
    """
    store = StoreReader(data / STORE_NAME)
    trials = [(one, document_of(data, one, stage)) for one in store.trials() if one.end_ns is not None]
    return by_factors(trials, by, results, where, series)


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
        {name: [burn_of(one, document_of(data, one, stage)) for one in trials] for name, trials in chosen.items()},
        results,
    )
