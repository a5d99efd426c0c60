"""Lines against a numeric factor; certified data are in `tests/published/test_comparison.py`."""

import numpy as np
import pytest

from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.comparison.trend import numeric, trend


def test_the_band_is_narrowest_at_the_centre() -> None:
    found = trend([40.0, 60.0, 80.0, 100.0], [410.0, 380.0, 365.0, 330.0])
    assert found.slope == pytest.approx(-1.275)
    narrow, wide = found.half_band(np.array([70.0, 100.0]))
    assert narrow < wide
    assert found.shown


@pytest.mark.parametrize(
    ("x", "y", "why"),
    [([1, 2], [3, 4], "3 burns"), ([5, 5, 5], [1, 2, 3], "same value"), ([1, 2, 3], [2, 4, 6], "exactly on a line")],
)
def test_what_is_no_trend_is_refused(x: list[float], y: list[float], why: str) -> None:
    with pytest.raises(ComparisonError, match=why):
        trend(x, y)


def test_levels_are_numbers_with_one_unit() -> None:
    assert numeric(["60 mm", "80mm", "72,5 mm"]) == ([60.0, 80.0, 72.5], "mm")
    assert numeric(["8", "12"]) == ([8.0, 12.0], "")
    assert numeric(["60 mm", "8 cm"]) is None
    assert numeric(["chips", "12"]) is None
    assert numeric(["12x6mm", "12x8mm"]) is None
