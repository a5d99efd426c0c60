"""What a pot may weigh."""

from math import inf

import pytest
from uncertainties import ufloat

from emberline.bench.plan import PotPlan, VisitPlan
from emberline.curves.pot_loads import (
    MATCH_G,
    MATCH_SHARE,
    MOST_POT,
    POT_G,
    least_filled_g,
    least_pot_g,
    matches,
    most_pot_g,
)

POT = PotPlan(tare_g=ufloat(600.0, 0.5), every=VisitPlan(ufloat(500.0, 0.5)), visits=(VisitPlan(ufloat(700.0, 0.5)),))


@pytest.mark.parametrize(("size_g", "it"), [(119.0, True), (121.0, False), (1_048.0, False), (81.0, True)])
def test_a_small_load_matches_by_grams(size_g: float, it: bool) -> None:
    assert matches(size_g, 100.0) is it


def test_a_large_load_matches_by_its_share() -> None:
    assert matches(1_049.0, 1_000.0)
    assert not matches(1_051.0, 1_000.0)


def test_the_tare_bounds_a_pot_from_below_and_its_largest_filling_from_above() -> None:
    assert least_pot_g(POT) == 600.0 - max(MATCH_G, MATCH_SHARE * 600.0)
    assert most_pot_g(POT) == MOST_POT * 1_300.0


def test_a_pot_that_is_set_down_has_water_in_it() -> None:
    assert least_filled_g(POT) == pytest.approx(600.0 + 0.3 * 700.0)
    assert least_filled_g(PotPlan(tare_g=ufloat(600.0, 0.5))) == least_pot_g(POT)
    assert least_filled_g(None) == POT_G


def test_without_a_plan_a_pot_is_what_is_heavy() -> None:
    assert least_pot_g(None) == least_pot_g(PotPlan()) == POT_G
    assert most_pot_g(None) == most_pot_g(PotPlan(tare_g=ufloat(600.0, 0.5))) == inf
