"""Mean and scatter of few burns; `tests/published/test_comparison.py` compares with certified data."""

import pytest

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.measured import sample_of


def test_a_single_burn_has_no_scatter() -> None:
    sample = sample_of([402.0])
    assert (sample.n, sample.mean) == (1, 402.0)
    assert (sample.sd, sample.interval_95, sample.cv, sample.u_mean) == (None,) * 4


def test_no_burn_has_no_mean() -> None:
    with pytest.raises(ComparisonError, match="no burn"):
        sample_of([])


def test_a_mean_of_zero_has_no_coefficient_of_variation() -> None:
    assert sample_of([-1.0, 1.0]).cv is None


def test_a_worked_interval() -> None:
    """Five values 10 to 14: t of 4 degrees of freedom is 2.776 (table of Student's t), so 12 +- 1.963."""
    low, high = sample_of([10.0, 11.0, 12.0, 13.0, 14.0]).interval_95 or (0.0, 0.0)
    assert (low, high) == pytest.approx((10.037, 13.963), abs=5e-4)
