from itertools import pairwise

import numpy as np
import pytest

from emberline.bench.its90 import REFERENCE


@pytest.mark.parametrize("kind", list(REFERENCE))
def test_pieces_join_smoothly(kind: str) -> None:
    pieces = REFERENCE[kind]
    for below, above in pairwise(pieces):
        at = np.array([below.upto_c])
        assert above.emf_mv(at) == pytest.approx(below.emf_mv(at), abs=1e-4)
        # Only the voltages are published as continuous; type N's slope changes by 0.9 % at 0 degrees.
        assert above.slope_mv_k(at) == pytest.approx(below.slope_mv_k(at), rel=0.01)


@pytest.mark.parametrize("kind", list(REFERENCE))
def test_slope_is_the_derivative(kind: str) -> None:
    for piece in REFERENCE[kind]:
        t_c = np.linspace(piece.upto_c - 150.0, piece.upto_c - 1.0, 20)
        rise = (piece.emf_mv(t_c + 0.01) - piece.emf_mv(t_c - 0.01)) / 0.02
        assert piece.slope_mv_k(t_c) == pytest.approx(rise, rel=1e-6)
