"""Weighing the witnesses of a boil."""

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.curves.boil_odds import STALL_RANGE_K, end_odds, level_odds, standing_odds


def test_the_level_counts_by_a_normal_density_over_an_even_one() -> None:
    # 1 / sqrt(2 pi) = 0.3989 at the middle of a standard normal distribution, 0.0540 two deviations away (handbook
    # table), 0.98 of it with the share of probes that are worse than their class.
    boiling_c = ufloat(99.0, 0.6)
    assert level_odds(99.0, boiling_c, 0.8) == pytest.approx(
        np.log((0.98 * 0.3989 + 0.02 * 0.3989 / 2.5) * STALL_RANGE_K), abs=1e-3
    )
    assert level_odds(97.0, boiling_c, 0.8) < level_odds(98.0, boiling_c, 0.8) < level_odds(99.0, boiling_c, 0.8)


def test_a_better_thermometer_tells_more() -> None:
    boiling_c = ufloat(99.0, 0.1)
    assert level_odds(99.0, boiling_c, 0.2) > level_odds(99.0, boiling_c, 1.85)
    assert level_odds(97.0, boiling_c, 0.2) < 0.0 < level_odds(97.0, boiling_c, 1.85)


UNKNOWN = float("nan")


def test_a_sharp_end_speaks_for_a_boil_and_an_exponential_one_against() -> None:
    assert end_odds(0.9, None) > 1.0
    assert end_odds(0.24, None) < -2.0
    assert end_odds(UNKNOWN, None) == pytest.approx(0.0)
    assert end_odds(1.6, None) == end_odds(0.95, None)


def test_steam_that_begins_speaks_for_it_and_steam_that_does_not_against() -> None:
    assert end_odds(UNKNOWN, (0.15, 0.40)) > 1.5
    assert end_odds(UNKNOWN, (0.15, 0.16)) < -1.0
    assert end_odds(UNKNOWN, (0.0, 1e6)) == end_odds(UNKNOWN, (0.0, 1.0))
    # No witness is believed without end.
    assert abs(end_odds(UNKNOWN, (0.4, 0.0))) < 5.0


def test_a_soft_end_without_a_jump_is_one_witness_and_not_two() -> None:
    # Under a weak fire steam takes over by and by: that no jump is seen says hardly more than that the end is soft.
    assert end_odds(0.45, (0.34, 0.40)) > end_odds(0.45, None) - 1.0
    assert end_odds(0.45, (0.34, 0.40)) > -2.5


def test_a_ramp_that_ends_sharply_as_the_load_loses_less_is_a_pause() -> None:
    assert end_odds(0.73, (0.25, 0.09)) < 0.0 < end_odds(0.73, (0.25, 0.40))


def test_water_that_keeps_its_temperature_boils_and_water_that_wanders_rather_does_not() -> None:
    assert standing_odds(0.04) > 1.5
    assert standing_odds(0.4) < -1.0
    assert standing_odds(UNKNOWN) == 0.0


def test_a_wander_is_never_believed_without_end() -> None:
    # The shares for everything else bound the ratio of likelihoods.
    assert standing_odds(0.0) == standing_odds(0.01) < np.log(0.85 / 0.1) + 0.1
    assert standing_odds(50.0) >= np.log(0.15 / 0.9) - 0.01
