from uncertainties import ufloat

from emberline.trials.estimates import Estimates, PotWater


def test_nothing_is_known_at_first() -> None:
    assert Estimates().water is None
    assert Estimates().rate_g_min is None


def test_what_is_left_is_what_was_poured_in_less_what_is_gone() -> None:
    left = PotWater(ufloat(120.0, 8.0), ufloat(500.0, 6.0)).left_g
    assert left is not None
    assert (left.nominal_value, left.std_dev) == (380.0, 10.0)
    assert PotWater(ufloat(120.0, 8.0)).left_g is None
