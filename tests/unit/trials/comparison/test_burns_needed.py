"""How many burns it takes; the figures themselves are held against statsmodels in `tests/published`."""

import math

import pytest

from emberline.trials.comparison.burns_needed import MOST_BURNS, POWER, burns_needed, power, resolved
from emberline.trials.comparison.errors import ComparisonError


@pytest.mark.parametrize("effect", [0.2, 0.7, 1.5, 4.0])
def test_it_is_the_least_number_that_is_enough(effect: float) -> None:
    n = burns_needed(effect, 1.0)
    assert power(effect, 1.0, n) >= POWER
    assert n == 2 or power(effect, 1.0, n - 1) < POWER


def test_what_burns_resolve_is_what_needs_them() -> None:
    for n in (2, 6, 40):
        smallest = resolved(3.0, n)
        assert burns_needed(smallest * 1.0001, 3.0) == n
        assert burns_needed(smallest * 0.99, 3.0) == n + 1 or n == 2


def test_a_huge_difference_takes_two_burns() -> None:
    assert burns_needed(1e6, 1.0) == 2


@pytest.mark.parametrize(("wished", "sd"), [(0.0, 1.0), (1.0, 0.0), (math.nan, 1.0), (1.0, math.inf)])
def test_what_cannot_be_told_is_refused(wished: float, sd: float) -> None:
    with pytest.raises(ComparisonError, match="scatter"):
        burns_needed(wished, sd)


def test_more_burns_than_anybody_makes_are_refused() -> None:
    with pytest.raises(ComparisonError, match=str(MOST_BURNS)):
        burns_needed(1e-3, 1.0)
