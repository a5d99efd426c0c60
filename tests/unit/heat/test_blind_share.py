"""What an earlier stay tells of a pot without a probe, against sums by hand."""

import pytest
from uncertainties import ufloat

from emberline.curves.loads import Stay
from emberline.curves.mass_steps import UNKNOWN_U_G, MassStep
from emberline.heat.blind_share import BLIND_SHARE, BLIND_SHARE_U, LEAST_U, MOST_SHARE, looked_into, share_after_look


def step(at_s: int, size_g: float, u_g: float = 0.3) -> MassStep:
    return MassStep(at_s, at_s + 3, ufloat(size_g, u_g), abs(size_g), ufloat(at_s + 1.5, 0.5))


def test_a_pot_set_back_with_what_was_lifted_was_looked_into() -> None:
    before = Stay(step(100, 1200.0), step(400, -1150.0))
    assert looked_into(before, Stay(step(420, 1149.0), None))
    assert not looked_into(before, Stay(step(420, 1400.0), None))
    assert not looked_into(Stay(step(100, 1200.0), None), Stay(step(420, 1149.0), None))
    assert not looked_into(before, Stay(step(420, 1149.0, UNKNOWN_U_G), None))


def test_water_only_becomes_hotter_until_it_boils() -> None:
    # 60 of 150 g were water: from 0.40 to 0.65 now, 0.525 +- 0.25 / sqrt(12).
    share, u = share_after_look(ufloat(60.0, 0.5), 150.0)
    assert share == pytest.approx(0.525)
    assert u == pytest.approx(0.25 / 12.0**0.5)


def test_a_pot_that_lost_more_than_is_usual_may_go_on_so() -> None:
    assert share_after_look(ufloat(120.0, 0.5), 150.0) == pytest.approx((0.8, LEAST_U))
    assert share_after_look(ufloat(180.0, 0.5), 150.0) == (1.0, LEAST_U)
    assert share_after_look(ufloat(-4.0, 0.5), 150.0)[0] == pytest.approx(0.5 * MOST_SHARE)


def test_a_stay_of_which_little_is_known_tells_nothing() -> None:
    assert share_after_look(ufloat(60.0, 40.0), 150.0) == (BLIND_SHARE, BLIND_SHARE_U)
    assert share_after_look(ufloat(0.0, 0.5), 0.0) == (BLIND_SHARE, BLIND_SHARE_U)
