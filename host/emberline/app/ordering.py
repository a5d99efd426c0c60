"""Planned series: made, kept, and taken up run by run."""

import json
from collections.abc import Mapping, Sequence
from math import sqrt
from pathlib import Path

import numpy as np

from emberline.app.burns import stored_burns
from emberline.app.comparing import compare_by
from emberline.app.output import make_folder
from emberline.app.stored import STORE_NAME
from emberline.app.summaries import Stage
from emberline.service.control_client import ask
from emberline.store.errors import StoreBusyError, StoreMissingError
from emberline.store.store import Store
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.run_order import run_order
from emberline.trials.comparison.series import Series, series_document
from emberline.trials.comparison.stop_rule import StopRule


def plan_series(
    data: Path,
    name: str,
    factors: Mapping[str, Sequence[str]],
    result: str,
    *,
    blocks: int,
    rule: StopRule,
    seed: int,
) -> Series:
    """Draw the order of a series and keep it; a running daemon keeps it where one holds the store.

    Args:
        data: Data directory; made where it does not exist.
        name: Name of the series.
        factors: Levels by factor.
        result: The result that decides.
        blocks: How often each condition is burnt.
        rule: When the series ends.
        seed: Seed of the order.

    Raises:
        ComparisonError: The series has problems.
        SeriesKnownError: One of that name is planned already.
        StoreError: The store cannot be used.
    """
    shuffle = np.random.default_rng(seed).permutation
    runs = run_order(factors, blocks, lambda n: [int(one) for one in shuffle(n)])
    series = Series(name, result, rule, seed, tuple(runs))
    document = json.dumps(series_document(series), ensure_ascii=False)
    make_folder(data)
    try:
        with Store.open(data / STORE_NAME) as store:
            store.plan_series(name, document)
    except StoreBusyError:
        ask(data, {"do": "plan series", "name": name, "document": document})
    return series


def scatter_so_far(data: Path, factors: Sequence[str], result: str, stage: Stage = lambda _: None) -> float:
    """Return the standard deviation of single burns of one condition, from the trials there are.

    Args:
        data: Data directory.
        factors: What makes up a condition.
        result: The result whose scatter is wanted.
        stage: Is told what begins.

    Raises:
        ComparisonError: No condition has two burns with that result.
        StoreError: There is no store, or it cannot be read.
    """
    try:
        found = compare_by(stored_burns(data, stage), factors, [result]).compared
    except (ComparisonError, StoreMissingError):
        found = ()
    samples = [one.sample for compared in found for one in compared.groups.values()]
    parts = [(one.n - 1, one.sd) for one in samples if one is not None and one.sd is not None]
    freedom = sum(n for n, _ in parts)
    if not freedom:
        raise ComparisonError(
            f"no condition has two burns with {result} yet, so how much they scatter is not known: give --scatter"
        )
    return sqrt(sum(n * sd**2 for n, sd in parts) / freedom)
