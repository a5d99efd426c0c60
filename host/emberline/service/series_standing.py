"""How far a planned series has come."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from emberline.bench.plan import parse_plan
from emberline.bench.plan_values import changed
from emberline.store.burn_reader import BurnReader
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.run_order import Run
from emberline.trials.comparison.series import Series, next_run, series_of
from emberline.trials.comparison.stop_rule import Kept, kept
from emberline.trials.corrections import exclusion

if TYPE_CHECKING:
    from emberline.trials.comparison.comparison import Comparison

# Comparing loads much that a daemon does without; it does so in a process of its own.


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a series has come.

    Attributes:
        series: The series.
        burnt: Its trials by the number of their run, also those that do not count.
        counting: The numbers of the runs that a trial that counts has taken.
    """

    series: Series
    burnt: Mapping[int, Sequence[Trial]]
    counting: frozenset[int]

    @property
    def next(self) -> Run | None:
        """The run to be made next; None where all are made."""
        return next_run(self.series, sorted(self.counting))


def all_standings(store: StoreReader) -> list[Standing]:
    """Return all planned series with their standing, in the order in which they were planned.

    Raises:
        StoreError: The store cannot be read.
    """
    return [_standing(store, series_of(json.loads(one))) for one in store.all_series()]


def open_series(store: StoreReader) -> list[tuple[str, str]]:
    """Return the series that have runs left, the newest first: the name of each, and its next run in words.

    Raises:
        StoreError: The store cannot be read.
    """
    return [
        (
            one.series.name,
            f"run {one.next.number}, " + ", ".join(f"{name} {level}" for name, level in one.next.factors.items()),
        )
        for one in reversed(all_standings(store))
        if one.next is not None
    ]


def standing_of(store: BurnReader, name: str) -> Standing:
    """Return how far a series has come.

    Raises:
        StoreError: There is no such series, or the store cannot be read.
    """
    return _standing(store, series_of(json.loads(store.series(name))))


def _standing(store: BurnReader, series: Series) -> Standing:
    burnt: dict[int, list[Trial]] = {}
    counting: set[int] = set()
    for trial in store.trials():
        plan = parse_plan(trial.plan_text)
        if plan.series == series.name and plan.run is not None:
            burnt.setdefault(plan.run, []).append(trial)
            if exclusion(store.corrections(trial.id)) is None:
                counting.add(plan.run)
    return Standing(series, burnt, frozenset(counting))


def plan_for_next(store: StoreReader, name: str, plan_text: str) -> tuple[str, Run]:
    """Return a plan's text for the next run of a series, and that run.

    Args:
        store: Where the series is kept.
        name: Its name.
        plan_text: What else is known of the burn.

    Raises:
        ComparisonError: All runs are made.
        PlanError: The plan has problems.
        StoreError: There is no such series, or the store cannot be read.
    """
    run = standing_of(store, name).next
    if run is None:
        raise ComparisonError(f"all runs of the series {name} are made: see `emberline compare --series {name}`")
    values = {f"factors.{factor}": level for factor, level in run.factors.items()}
    return changed(plan_text, {"series": name, "run": run.number, **values}), run


def rule_kept(series: Series, comparison: "Comparison") -> Kept:
    """Return how a series stands to its stop rule.

    Args:
        series: The series.
        comparison: Its trials compared by its factors.
    """
    from emberline.trials.comparison.comparison import half_widths

    conditions = {tuple(run.factors.items()) for run in series.runs}
    deciding = next((one for one in comparison.compared if one.result == series.result), None)
    counts = [len(burns) for burns in comparison.groups.values()]
    counts += [0] * (len(conditions) - len(counts))
    return kept(series.rule, counts, half_widths(deciding) if deciding is not None and min(counts) else ())
