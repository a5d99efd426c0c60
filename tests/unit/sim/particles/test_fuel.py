import numpy as np
import pytest

from emberline_sim.particles.fuel import TABLE_K, Hearth, Outflow, pyrolysis_tables


def at(table: np.ndarray, kelvin: float) -> float:
    return float(np.interp(kelvin, TABLE_K, table))


def test_three_reactions_of_wood() -> None:
    """Thurner and Mann, Ind. Eng. Chem. Process Des. Dev. 20 (1981) 482, constants from memory, by hand at 673 K.

    1.43e4 exp(-15.834) + 4.12e6 exp(-20.141) + 7.37e5 exp(-19.033) = 0.00190 + 0.00737 + 0.00399 per second.
    """
    rate, to_char = pyrolysis_tables(1.0)
    assert at(rate, 673.0) == pytest.approx(0.01326, rel=0.02)
    assert at(to_char, 673.0) == pytest.approx(0.301, abs=0.005)


def test_hotter_is_quicker_and_leaves_less_char() -> None:
    rate, to_char = pyrolysis_tables(0.8)
    hot = TABLE_K > 650.0
    assert (np.diff(rate) > 0.0).all()
    assert (np.diff(to_char[hot]) < 0.0).all()


def test_nothing_reacts_in_the_cold() -> None:
    rate, _ = pyrolysis_tables(1.0)
    assert at(rate, 300.0) < 1e-10


def test_area_of_a_bore() -> None:
    assert Hearth(0.1, 0.3, 0.9, 0.03, 0.5, 40.0).area_m2 == pytest.approx(7.854e-3, rel=1e-4)


def test_parts_of_an_outflow_add_up() -> None:
    whole = Outflow(1.0, 2.0, 3.0, 4.0, 5.0)
    assert whole.part(0.5) == Outflow(0.5, 1.0, 1.5, 2.0, 2.5)
