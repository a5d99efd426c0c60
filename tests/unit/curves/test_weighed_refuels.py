"""Loads that are paired with the refuels that a person weighed."""

from collections.abc import Sequence

import pytest
from uncertainties import UFloat, ufloat

from emberline.curves.mass_steps import MassStep
from emberline.curves.weighed_refuels import misfit, paired


def load(at_s: int, size_g: float) -> MassStep:
    return MassStep(at_s, at_s + 3, ufloat(size_g, 0.3, "mass_step"), abs(size_g), ufloat(at_s + 1.5, 0.5))


def weights(*masses_g: float) -> list[UFloat]:
    return [ufloat(mass_g, 0.1) for mass_g in masses_g]


def told(loads: Sequence[MassStep], *masses_g: float) -> list[tuple[list[int], int | None]]:
    return [([step.start_s for step in pair.loads], pair.weighed) for pair in paired(loads, weights(*masses_g))]


def test_each_load_goes_with_its_weight() -> None:
    assert told([load(300, 55.9), load(600, 72.1)], 55.0, 71.0) == [([300], 0), ([600], 1)]


def test_handfuls_make_up_one_weight() -> None:
    spoons = [load(300 + 6 * i, 4.0) for i in range(6)]
    assert told([*spoons, load(600, 30.0)], 24.0, 30.0) == [([step.start_s for step in spoons], 0), ([600], 1)]


def test_handfuls_come_within_a_minute() -> None:
    assert told([load(300, 20.0), load(400, 20.0)], 40.0) == [([300], None), ([400], None)]


def test_a_load_without_a_weight_and_a_weight_without_a_load_stand_alone() -> None:
    assert told([load(300, 33.0), load(600, 55.2)], 55.0, 90.0) == [([300], None), ([600], 0)]


def test_what_a_refuel_lacks_came_in_by_the_handling_beside_it() -> None:
    lifted = load(288, -807.0)
    (pair,) = paired([load(300, 37.5)], weights(57.5), [lifted, load(800, 900.0)])
    assert pair.host is lifted
    assert pair.weighed == 0
    assert pair.rest_g is not None
    assert pair.rest_g.nominal_value == pytest.approx(20.0)
    assert pair.rest_g.std_dev == pytest.approx((0.3**2 + 0.1**2) ** 0.5)


def test_a_handling_far_from_a_refuel_hides_none_of_it() -> None:
    assert all(pair.host is None for pair in paired([load(300, 37.5)], weights(57.5), [load(200, -807.0)]))


def test_a_misfit_is_a_squared_distance_in_its_variance() -> None:
    # By hand: 8² / (1² + 0.5² + 1² + (0.03 * 50)²).
    assert misfit(ufloat(58.0, 1.0), ufloat(50.0, 0.5)) == pytest.approx(64.0 / 4.5)
