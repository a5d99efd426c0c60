from uncertainties import ufloat

from emberline.trials.estimates import Estimates, Plain, PotWater, plain


def test_nothing_is_known_at_first() -> None:
    assert Estimates().water_left_g is None
    assert Estimates().rate_g_min is None


def test_what_is_handed_on_is_a_number_and_its_uncertainty_and_equals_its_like() -> None:
    rate = ufloat(7.5, 0.3) + ufloat(0.5, 0.4)
    told = plain(rate)
    assert told == Plain(8.0, 0.5) == plain(ufloat(8.0, 0.5))
    assert plain(None) is None


def test_what_is_left_is_what_was_poured_in_less_what_is_gone() -> None:
    left = PotWater(ufloat(120.0, 8.0), ufloat(500.0, 6.0)).left_g
    assert left is not None
    assert (left.nominal_value, left.std_dev) == (380.0, 10.0)
    assert PotWater(ufloat(120.0, 8.0)).left_g is None
