"""Wood among what a flame leaves, against sums by hand."""

import math

import numpy as np
import pytest

from emberline.heat.uncharred import GONE_OUT_EARLY, IN_PIECES, uncharred


def test_a_usual_rest_is_char_but_for_what_pieces_hold() -> None:
    found = uncharred(0.20, 0.005, sorted_out=False)
    # An exponential distribution: its mean, and 1.96 u up to where a twentieth lies above.
    assert found.wood == pytest.approx(IN_PIECES, abs=0.005)
    assert found.wood + 1.96 * found.u_wood == pytest.approx(-math.log(0.05) * IN_PIECES, rel=0.05)
    assert found.raw < GONE_OUT_EARLY
    assert found.raw - 1.96 * found.u_raw <= 1e-6


def test_more_than_wood_leaves_as_char_is_wood() -> None:
    # 0.45 of the dry fuel: a fifth of what has charred, 0.69 of it, and the rest untouched, (0.45 - 0.20) / 0.80.
    found = uncharred(0.45, 0.005, sorted_out=False)
    by_hand = 0.3125 / 0.45
    assert abs(found.wood - by_hand) < 1.96 * found.u_wood
    assert found.wood > 0.3
    assert abs(found.raw - by_hand) < 1.96 * found.u_raw


def test_the_more_is_left_the_more_of_it_is_wood() -> None:
    wood = [uncharred(left, 0.005, sorted_out=False).wood for left in np.linspace(0.12, 0.6, 20).tolist()]
    assert wood == sorted(wood)


def test_a_rest_that_is_not_known_well_tells_little() -> None:
    sure, unsure = (uncharred(0.42, u, sorted_out=False) for u in (0.005, 0.10))
    assert unsure.wood < 0.5 * sure.wood


def test_nothing_is_raw_where_somebody_sorted_it_out() -> None:
    found = uncharred(0.33, 0.005, sorted_out=True)
    assert (found.raw, found.u_raw) == (0.0, 0.0)
    assert found.wood == pytest.approx(IN_PIECES, abs=0.03)


@pytest.mark.parametrize("left", [0.0, 0.99])
def test_extreme_rests_give_finite_shares(left: float) -> None:
    found = uncharred(left, 0.0, sorted_out=False)
    assert 0.0 < found.wood < 1.0
    assert 0.0 < found.u_wood < 1.0
