"""Welch's interval with shared inputs, and what cannot be compared; the plain figures are held in `tests/published`."""

import numpy as np
import pytest

from emberline.trials.comparison.differences import all_differences, difference, holm
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import Measured

A, B = [402.0, 411.0, 395.0, 407.0, 399.0], [361.0, 370.0, 352.0, 366.0, 358.0, 371.0]


def burns(values: list[float], lot: str = "beech-1", part: float = 0.0) -> list[Measured]:
    return [Measured(str(n), value, 0.0, {"fuel.lhv_dry_j_g": part}, "yard", lot) for n, value in enumerate(values)]


def test_a_single_burn_is_not_compared() -> None:
    with pytest.raises(ComparisonError, match="A: a single burn"):
        difference(burns(A[:1]), burns(B))


def test_figures_without_any_scatter_are_not_compared() -> None:
    with pytest.raises(ComparisonError, match="scatter cannot be told"):
        difference(burns([5.0, 5.0]), burns([6.0, 6.0]))


def test_two_lots_widen_the_interval_and_one_does_not() -> None:
    one = difference(burns(A, part=10.0), burns(B, part=10.0))
    two = difference(burns(A, part=10.0), burns(B, "pine-4", part=10.0))
    plain = difference(burns(A), burns(B))
    assert one.interval_95 == plain.interval_95
    assert two.u == pytest.approx((plain.u**2 + 200.0) ** 0.5)
    assert two.df > plain.df
    assert two.p > plain.p


def test_a_difference_is_the_later_less_the_earlier() -> None:
    found = difference(burns(A), burns(B), ("old", "new"))
    assert found.value == pytest.approx(np.mean(B) - np.mean(A))
    assert found.relative == pytest.approx(found.value / np.mean(A))
    assert found.shown


def test_groups_that_cannot_be_compared_are_left_out_of_the_count() -> None:
    found = all_differences({"a": burns(A), "b": burns(B), "c": burns([1.0]), "d": burns([7.0, 7.0])})
    assert [(one.a, one.b) for one in found] == [("a", "b"), ("a", "d"), ("b", "d")]


def test_two_groups_without_scatter_do_not_hide_the_rest() -> None:
    found = all_differences({"a": burns([5.0, 5.0]), "b": burns([7.0, 7.0]), "c": burns(A)})
    assert [(one.a, one.b) for one in found] == [("a", "c"), ("b", "c")]


def test_holm_never_adjusts_beyond_one_or_out_of_order() -> None:
    assert holm([]) == []
    assert holm([0.6, 0.5]) == [1.0, 1.0]
