"""Comparing trials; a summary that this version has not written is worked out anew first."""

from collections.abc import Mapping, Sequence

from emberline.app.burns import Burns
from emberline.app.stored import find_trial
from emberline.service.comparing import burn_of, by_factors
from emberline.trials.comparison.comparison import Comparison, compare


def compare_by(
    burns: Burns,
    by: Sequence[str],
    results: Sequence[str],
    where: Mapping[str, str] | None = None,
    series: str = "",
) -> Comparison:
    """Compare trials, grouped by factors; see `by_factors`.

    Args:
        burns: The trials.
        by: Factors by which to group them.
        results: Names of the results.
        where: Levels of factors that a trial must have to take part.
        series: Name of the planned series to which a trial must belong; empty for any.

    Raises:
        StoreError: There is no store, or it cannot be read.
        ComparisonError: No trial takes part, or no trial has such a factor.
    """
    trials = [(one, burns.document(one)) for one in burns.reader.trials() if one.end_ns is not None]
    return by_factors(trials, by, results, where, series)


def compare_groups(burns: Burns, groups: Mapping[str, Sequence[str]], results: Sequence[str]) -> Comparison:
    """Compare groups of trials that a person chose.

    Args:
        burns: The trials.
        groups: Ids of trials by group.
        results: Names of the results.

    Raises:
        StoreError: There is no store or no such trial, or it cannot be read.
        ComparisonError: A trial stands in two groups.
    """
    chosen = {name: [find_trial(burns.reader, one) for one in trials] for name, trials in groups.items()}
    return compare(
        {name: [burn_of(one, burns.document(one)) for one in trials] for name, trials in chosen.items()}, results
    )
