"""The order of the burns of a series: every condition once in each block, shuffled within it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

from emberline.trials.comparison.errors import ComparisonError

MOST_RUNS = 1_000

Shuffle = Callable[[int], Sequence[int]]
"""Returns the numbers below its argument in random order."""


@dataclass(frozen=True, slots=True)
class Run:
    """One burn of a series.

    Attributes:
        block: Its block, from 1.
        number: Its place in the whole order, from 1.
        factors: Its condition.
    """

    block: int
    number: int
    factors: Mapping[str, str]


def conditions(factors: Mapping[str, Sequence[str]]) -> list[dict[str, str]]:
    """Return all combinations of the factors' levels.

    Raises:
        ComparisonError: There is no factor, or one with fewer than two different levels.
    """
    if not factors:
        raise ComparisonError("an order needs a factor with its levels, such as fill=60,80")
    for name, levels in factors.items():
        if len(set(levels)) < 2 or len(set(levels)) < len(levels):
            raise ComparisonError(f"{name} needs two levels or more, each named once")
    return [dict(zip(factors, levels, strict=True)) for levels in product(*factors.values())]


def run_order(factors: Mapping[str, Sequence[str]], blocks: int, shuffle: Shuffle) -> list[Run]:
    """Return the order of a randomised complete block design (Box, Hunter & Hunter, Statistics for Experimenters, 4.2).

    What drifts from day to day (weather, fuel, practice) then strikes all conditions alike, block by block.

    Args:
        factors: Levels by factor.
        blocks: How often each condition is burnt.
        shuffle: Draws an order; chance comes from outside, so that an order can be repeated.

    Raises:
        ComparisonError: The factors have problems, or there would be too many burns or none.
    """
    if prod(len(levels) for levels in factors.values()) * blocks > MOST_RUNS:
        raise ComparisonError(f"that would be more than {MOST_RUNS} burns")
    all_conditions = conditions(factors)
    if blocks < 1:
        raise ComparisonError("each condition is burnt once at the least")
    runs: list[Run] = []
    for block in range(1, blocks + 1):
        for index in shuffle(len(all_conditions)):
            runs.append(Run(block, len(runs) + 1, all_conditions[index]))
    return runs
