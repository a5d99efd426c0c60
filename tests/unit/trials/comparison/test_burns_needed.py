"""How many burns it takes; the figures themselves are held against statsmodels in `tests/published`."""

import math

import numpy as np
import pytest

from emberline.trials.comparison.burns_needed import MOST_BURNS, POWER, burns_needed, power, resolved
from emberline.trials.comparison.differences import difference
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import Measured


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


def test_what_each_group_has_wrong_counts_as_often_as_burns_show_it() -> None:
    """Series at random, compared as burns are: each group is off by 0.5 as a whole, single burns by 0.3."""
    rng = np.random.default_rng(5)

    def group(name: str, mean: float) -> list[Measured]:
        values = mean + 0.5 * rng.standard_normal() + 0.3 * rng.standard_normal(4)
        return [Measured(f"{name}{i}", v, 0.5, {"fuel.lhv_dry_j_g": 0.5}, "bench", name) for i, v in enumerate(values)]

    u_shared, true = math.hypot(0.5, 0.5), 2.0
    found = [difference(group("a", 10.0), group("b", 10.0 + true)) for _ in range(2_000)]
    assert found[0].u_shared == pytest.approx(u_shared)
    share = sum(one.p < 0.05 for one in found) / len(found)
    assert share == pytest.approx(power(true, 0.3, 4, u_shared), abs=0.035)
    assert power(true, 0.3, 4) > 0.99, "the scatter alone would promise far more"


def test_what_is_resolved_is_no_finer_than_what_each_group_has_wrong() -> None:
    smallest = resolved(0.03, 3, u_shared=0.3)
    assert power(smallest, 0.03, 3, 0.3) == pytest.approx(POWER)
    # Normal quantiles for the limit of 95 % and a power of 80 %: 1.960 and 0.842.
    assert smallest == pytest.approx((1.960 + 0.842) * 0.3, rel=0.02)


def test_where_no_number_of_burns_would_do_the_way_out_is_named() -> None:
    with pytest.raises(ComparisonError, match=r"no number of burns would do.*measured"):
        burns_needed(0.5, 1.0, u_shared=0.3)
