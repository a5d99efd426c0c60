import numpy as np
import pytest

from emberline.reports.timeline import minutes, span_min, zero_s
from unit.reports.made_up_burn import make_burn


def test_time_runs_from_lit() -> None:
    burn = make_burn(seconds=600)
    assert zero_s(burn) == 90.0
    assert minutes(burn, np.array([0.0, 90.0, 150.0])) == pytest.approx([-1.5, 0.0, 1.0])
    assert span_min(burn) == (-1.5, 8.5)


def test_time_runs_from_the_first_sample_where_nothing_was_lit() -> None:
    burn = make_burn(seconds=600, events=())
    assert zero_s(burn) == 0.0
    assert span_min(burn) == (0.0, 10.0)
