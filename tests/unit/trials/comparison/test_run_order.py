"""Orders of burns: complete blocks, shuffled one by one."""

import numpy as np
import pytest

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.run_order import run_order

FACTORS = {"fuel": ["chips", "pellets"], "holes": ["8", "12", "16"]}


def shuffle(seed: int):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    return lambda n: rng.permutation(n).tolist()


def test_every_condition_stands_once_in_each_block() -> None:
    runs = run_order(FACTORS, 4, shuffle(1))
    assert [run.number for run in runs] == list(range(1, 25))
    for block in range(1, 5):
        burnt = {tuple(run.factors.values()) for run in runs if run.block == block}
        assert len(burnt) == 6


def test_the_same_seed_gives_the_same_order_and_blocks_differ() -> None:
    assert run_order(FACTORS, 3, shuffle(7)) == run_order(FACTORS, 3, shuffle(7))
    orders = {
        tuple(tuple(r.factors.values()) for r in run_order(FACTORS, 3, shuffle(7)) if r.block == b) for b in (1, 2, 3)
    }
    assert len(orders) > 1


def test_each_condition_comes_first_as_often_as_chance_has_it() -> None:
    """Of 300 blocks of 6 each leads 50, with a standard deviation of 6.5 (binomial)."""
    runs = run_order(FACTORS, 150, shuffle(3)) + run_order(FACTORS, 150, shuffle(4))
    leads = [tuple(run.factors.values()) for index, run in enumerate(runs) if index % 6 == 0]
    for condition in set(leads):
        assert abs(leads.count(condition) - 50) < 4 * 6.5


@pytest.mark.parametrize(
    ("factors", "blocks", "why"),
    [
        ({}, 3, "needs a factor"),
        ({"fuel": ["chips"]}, 3, "two levels"),
        ({"fuel": ["chips", "chips"]}, 3, "once"),
        (FACTORS, 0, "once at the least"),
        (FACTORS, 500, "more than"),
    ],
)
def test_what_is_no_series_is_refused(factors: dict[str, list[str]], blocks: int, why: str) -> None:
    with pytest.raises(ComparisonError, match=why):
        run_order(factors, blocks, shuffle(1))
