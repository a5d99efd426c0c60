"""Stated intervals hold the truth as often as they say, over two thousand simulated comparisons."""

import numpy as np
import pytest

from emberline.trials.comparison.differences import difference
from emberline.trials.comparison.measured import Measured

SERIES = 2_000
COVERED = (0.93, 0.97)


def burns(rng: np.random.Generator, mean: float, sd: float, n: int, shift: float, lot: str) -> list[Measured]:
    """Burns that scatter, and whose fuel's heating value is off by the same for all."""
    values = mean * (1.0 + shift) + rng.normal(0.0, sd, n)
    return [
        Measured(str(k), float(v), 0.0, {"fuel.lhv_dry_j_g": 0.02 * float(v)}, "yard", lot)
        for k, v in enumerate(values)
    ]


@pytest.mark.parametrize(
    ("sizes", "sds"), [((5, 6), (12.0, 12.0)), ((3, 9), (8.0, 20.0)), ((4, 4), (5.0, 25.0)), ((12, 12), (15.0, 15.0))]
)
@pytest.mark.parametrize("one_lot", [True, False])
def test_intervals_cover_as_they_say(sizes: tuple[int, int], sds: tuple[float, float], one_lot: bool) -> None:
    """The heating value is off by 2 %, drawn for each series: for both groups alike, or for each by itself."""
    rng = np.random.default_rng(20_261_128 + 10 * sizes[0] + one_lot)
    held = 0
    for _ in range(SERIES):
        shift = 0.02 * float(rng.normal())
        other = shift if one_lot else 0.02 * float(rng.normal())
        a = burns(rng, 400.0, sds[0], sizes[0], shift, "1")
        b = burns(rng, 370.0, sds[1], sizes[1], other, "1" if one_lot else "2")
        low, high = difference(a, b).interval_95
        held += low <= -30.0 <= high
    assert COVERED[0] <= held / SERIES <= COVERED[1]
