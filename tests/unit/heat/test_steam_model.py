from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.heat.blind_share import BLIND_SHARE
from emberline.heat.steam_model import MOST_SHARE, Coefficients, SteamModel, Unsure, summed

Array = NDArray[np.float64]

N, ON_S, BOIL_S, OUT_S, OFF_S = 1200, 100, 500, 900, 1100
WALL_G_S = 0.01
EXPECTED = Coefficients(0.05, 1.6, WALL_G_S, np.diag([0.0175**2, 0.3**2, 0.005**2]), 1.3, 0.4)


def model() -> SteamModel:
    """A pot that warms from 100 s, boils from 500 s, and stands on glowing char from 900 to 1100 s."""
    t = np.arange(N)
    inside = (t >= ON_S) & (t < OFF_S)
    drive = np.where(inside, np.clip(2.2 * ((t - ON_S) / (BOIL_S - ON_S)) ** 3, 0.0, 2.2), 0.0)
    loss = np.interp(t, [0, 60, 899, 960, 1200], [0.15, 0.2, 0.35, 0.05, 0.03])
    still = np.zeros(N)
    return SteamModel(drive, drive, loss, still, inside & (t >= BOIL_S), t >= OUT_S, inside, np.zeros(N, dtype=bool))


def total_of(rate: Array, unsure: Unsure, until_s: int) -> UFloat:
    """Return the whole sum by a moment as an uncertain number."""
    shifts, variables = unsure()
    total = float(np.sum(rate[:until_s])) + 0.0 * variables[0]
    for shift, variable in zip(shifts, variables, strict=True):
        total += float(np.sum(shift[:until_s])) * variable
    return total


def test_water_leaves_only_while_the_pot_stands_there() -> None:
    rate = model().rate(0.05, 1.6, WALL_G_S, 1.3)
    assert (rate[:ON_S] == 0.0).all()
    assert (rate[OFF_S:] == 0.0).all()
    assert (rate[ON_S + 10 : OFF_S] > 0.0).all()


def test_below_boiling_the_vapour_pressure_law_holds() -> None:
    seen = model()
    rate = seen.rate(0.05, 1.6, WALL_G_S, 1.3)
    np.testing.assert_allclose(rate[ON_S:BOIL_S], 0.05 * seen.drive[ON_S:BOIL_S])


def test_below_boiling_something_must_keep_the_water_hot() -> None:
    seen = model()
    rate = seen.rate(10.0, 1.6, WALL_G_S, 1.3)
    assert (rate[ON_S:BOIL_S] <= MOST_SHARE * seen.loss_g_s[ON_S:BOIL_S] + 1e-12).all()


def test_while_boiling_steam_stands_in_proportion_to_fuel() -> None:
    seen = model()
    steam = seen.rate(0.05, 1.6, WALL_G_S, 1.3)
    fuel = seen.loss_g_s - steam
    # What the wall loses raises no steam.
    np.testing.assert_allclose(((steam + WALL_G_S) / fuel)[BOIL_S:OUT_S], 1.6)
    np.testing.assert_allclose(((steam + WALL_G_S) / fuel)[OUT_S:OFF_S], 1.6 * 1.3)


def test_no_more_leaves_than_the_cell_saw() -> None:
    for share in (0.1, 1.6, 40.0):
        seen = model()
        assert (seen.rate(0.05, share, WALL_G_S, 1.3) <= seen.loss_g_s).all()


def test_a_wall_that_loses_all_raises_no_steam() -> None:
    rate = model().rate(0.05, 1.6, 5.0, 1.3)
    assert (rate[BOIL_S:OFF_S] == 0.0).all()


def test_a_pot_that_cools_boils_on_by_its_own_heat() -> None:
    seen = model()
    cooling = np.where(seen.glowing, 0.04, 0.0)
    cools = replace(seen, cooling_g_s=cooling)
    rate = cools.rate(0.05, 1.6, WALL_G_S, 1.3)
    np.testing.assert_array_equal(rate[:OUT_S], seen.rate(0.05, 1.6, WALL_G_S, 1.3)[:OUT_S])
    steam = 1.6 * 1.3
    # The heat balance: what glowing char gives and the pot gives up, less what the wall takes, leaves as steam.
    given = steam * (seen.loss_g_s - rate) + np.minimum(cooling, seen.loss_g_s)
    np.testing.assert_allclose(rate[OUT_S:OFF_S], (given - WALL_G_S)[OUT_S:OFF_S])
    assert (rate <= seen.loss_g_s + 1e-12).all()
    grams = float(rate.sum())
    closed, _ = cools.closing(EXPECTED, ufloat(grams, 0.3, "weighed"), float(OFF_S))
    assert np.max(np.abs(closed - rate)) < 0.05 * np.max(rate)


def test_the_course_of_a_pot_that_never_boiled_is_as_unsure_as_the_law_and_its_probe() -> None:
    seen = model()
    cool = replace(seen, boiling=np.zeros(N, dtype=np.bool_), warmer_drive=1.2 * seen.drive**1.1)
    rate, unsure = cool.closing(EXPECTED, ufloat(30.0, 0.1, "weighed"), float(OFF_S))
    halfway = total_of(rate, unsure, 600)
    assert halfway.std_dev > 0.02 * halfway.nominal_value
    bent = replace(cool, drive=seen.drive**1.15)
    other, _ = bent.closing(EXPECTED, ufloat(30.0, 0.1, "weighed"), float(OFF_S))
    assert abs(float(other[:600].sum()) - halfway.nominal_value) < 1.5 * halfway.std_dev


def test_left_as_they_are_each_coefficient_has_its_own_doubt() -> None:
    seen = model()
    rate, unsure = seen.standing(EXPECTED)
    shifts, variables = unsure()
    np.testing.assert_array_equal(rate, seen.rate(0.05, 1.6, WALL_G_S, 1.3))
    tags = [str(variable.tag) for variable in variables]
    assert sorted(set(tags)) == ["char_steam", "evaporation_model", "pot_wall", "steam_share"]
    changes = (
        (0.0675, 1.6, WALL_G_S, 1.3),
        (0.05, 1.9, WALL_G_S, 1.3),
        (0.05, 1.6, 0.015, 1.3),
        (0.05, 1.6, WALL_G_S, 1.7),
    )
    for changed, shift in zip(changes, shifts, strict=True):
        if changed[1] == 1.9:
            # Less heat takes more off the steam than more heat adds to it: the farther counts.
            np.testing.assert_allclose(rate - shift, seen.rate(0.05, 1.3, WALL_G_S, 1.3), atol=1e-6)
        else:
            np.testing.assert_allclose(rate + shift, seen.rate(*changed), atol=1e-6)


def test_coefficients_that_hang_together_leave_less_doubt() -> None:
    # A ramp tells heat less wall: a greater share goes with a greater loss, and steam hardly changes.
    seen = model()
    together = EXPECTED.covariance.copy()
    together[1, 2] = together[2, 1] = 0.95 * (together[1, 1] * together[2, 2]) ** 0.5
    apart = total_of(*seen.standing(EXPECTED), OFF_S)
    bound = total_of(*seen.standing(replace(EXPECTED, covariance=together)), OFF_S)
    assert bound.nominal_value == pytest.approx(apart.nominal_value)
    assert bound.std_dev < apart.std_dev


@pytest.mark.parametrize("until_s", [OFF_S, 1000])
@pytest.mark.parametrize("grams", [40.0, 90.0, 130.0])
def test_a_weighed_account_is_closed_to_the_gram_and_no_better(grams: float, until_s: int) -> None:
    rate, unsure = model().closing(EXPECTED, ufloat(grams, 1.4, "weighed"), float(until_s))
    total = total_of(rate, unsure, until_s)
    assert total.nominal_value == pytest.approx(grams, rel=1e-9)
    # All of the total's doubt is that of the weighing: the course in time adds none of its own.
    assert total.std_dev == pytest.approx(1.4, rel=1e-6)


def test_the_course_before_the_weighing_is_less_sure_than_its_end() -> None:
    rate, unsure = model().closing(EXPECTED, ufloat(110.0, 0.5, "weighed"), float(OFF_S))
    at_boil = total_of(rate, unsure, BOIL_S)
    at_end = total_of(rate, unsure, OFF_S)
    assert at_boil.std_dev > at_end.std_dev
    assert at_boil.std_dev / at_boil.nominal_value > 3.0 * at_end.std_dev / at_end.nominal_value


@pytest.mark.parametrize(("below_by", "share_by"), [(1.0, 1.0), (1.25, 1.0), (1.0, 0.8), (1.3, 1.15), (0.75, 0.85)])
def test_a_course_near_expectation_is_found_again(below_by: float, share_by: float) -> None:
    seen = model()
    true = seen.rate(0.05 * below_by, 1.6 * share_by, WALL_G_S, 1.3)
    grams = float(np.sum(true))
    rate, unsure = seen.closing(EXPECTED, ufloat(grams, 0.3, "weighed"), float(OFF_S))
    at_boil = total_of(rate, unsure, BOIL_S)
    assert abs(at_boil.nominal_value - np.sum(true[:BOIL_S])) < 2.0 * at_boil.std_dev
    # Weighing helps: without it the whole sum would be known far less well.
    standing = total_of(*seen.standing(EXPECTED), OFF_S)
    assert standing.std_dev > 10.0 * 0.3
    assert abs(standing.nominal_value - grams) < 2.5 * standing.std_dev


def test_a_total_as_expected_leaves_the_coefficients_as_expected() -> None:
    seen = model()
    expected = seen.rate(EXPECTED.below_g_s, EXPECTED.share, WALL_G_S, EXPECTED.char_ratio)
    rate, _ = seen.closing(EXPECTED, ufloat(float(np.sum(expected)), 0.3, "weighed"), float(OFF_S))
    assert np.max(np.abs(rate - expected)) < 0.05 * np.max(expected)


def test_a_pot_that_never_boiled_is_closed_by_the_vapour_pressure_law() -> None:
    seen = model()
    cool = replace(seen, boiling=np.zeros(N, dtype=np.bool_))
    rate, unsure = cool.closing(EXPECTED, ufloat(30.0, 0.5, "weighed"), float(OFF_S))
    assert total_of(rate, unsure, OFF_S).nominal_value == pytest.approx(30.0)
    assert (rate[ON_S:OFF_S] <= seen.loss_g_s[ON_S:OFF_S] + 1e-9).all()


@pytest.mark.parametrize("grams", [0.0, -3.0])
def test_a_pot_that_lost_nothing_lost_nothing(grams: float) -> None:
    rate, _ = model().closing(EXPECTED, ufloat(grams, 0.5, "weighed"), float(OFF_S))
    assert float(np.sum(rate)) == pytest.approx(0.0, abs=1e-6)
    assert np.isfinite(rate).all()


def test_running_sums_begin_at_nothing() -> None:
    rate, shift = np.array([1.0, 2.0, 0.5]), np.array([0.0, -1.0, 0.0])
    sums = summed(rate, [shift])
    assert [list(column) for column in sums] == [[0.0, 1.0, 3.0, 3.5], [0.0, 0.0, -1.0, -1.0]]


def test_what_was_weighed_left_even_where_no_probe_tells_when() -> None:
    blind = replace(model(), drive=np.zeros(N), boiling=np.zeros(N, dtype=bool))
    rate, unsure = blind.closing(EXPECTED, ufloat(70.0, 0.8, "weighed"), float(OFF_S))
    total = total_of(rate, unsure, OFF_S)
    assert total.nominal_value == pytest.approx(70.0)
    assert total.std_dev >= 0.79
    assert (rate[:ON_S] == 0.0).all()


def test_water_that_nobody_measured_may_be_any_share_of_what_left() -> None:
    seen = model()
    blind = replace(seen, blind=seen.inside, boiling=np.zeros(N, dtype=bool))
    total = total_of(*blind.standing(EXPECTED), N)
    left = float(np.sum(seen.loss_g_s[seen.inside]))
    assert total.nominal_value == pytest.approx(BLIND_SHARE * left)
    # None, or all that a gram of fuel could raise.
    for truth in (0.0, 1.8 / 2.8 * left):
        assert abs(total.nominal_value - truth) < 2.0 * total.std_dev
    closed = total_of(*blind.closing(EXPECTED, ufloat(80.0, 3.0), N), N)
    assert closed.nominal_value == pytest.approx(80.0)
    assert closed.std_dev == pytest.approx(3.0)


def test_a_probe_that_fails_leaves_its_stretch_unsure() -> None:
    seen = model()
    t = np.arange(N)
    blind = replace(seen, blind=(t >= 300) & (t < BOIL_S))
    sure, unsure = total_of(*seen.standing(EXPECTED), BOIL_S), total_of(*blind.standing(EXPECTED), BOIL_S)
    assert unsure.std_dev > 2.0 * sure.std_dev
    assert abs(unsure.nominal_value - sure.nominal_value) < 2.0 * unsure.std_dev
    closed = total_of(*blind.closing(EXPECTED, ufloat(150.0, 1.0), OFF_S), N)
    assert closed.nominal_value == pytest.approx(150.0)
    assert closed.std_dev == pytest.approx(1.0)


def test_without_a_probe_a_weighed_total_leaves_its_course_over_the_flames_end_unsure() -> None:
    # 100 g in all, by the loss: the half as much again after the end of flame, by hand.
    seen = replace(model(), boiling=np.zeros(N, dtype=bool))
    seen = replace(seen, blind=seen.inside)
    rate, unsure = seen.closing(EXPECTED, ufloat(100.0, 0.5), OFF_S)
    before, after = float(np.sum(seen.loss_g_s[ON_S:OUT_S])), float(np.sum(seen.loss_g_s[OUT_S:OFF_S]))
    assert total_of(rate, unsure, OFF_S).std_dev == pytest.approx(0.5, abs=0.01)
    at_flameout = total_of(rate, unsure, OUT_S)
    assert at_flameout.nominal_value == pytest.approx(100.0 * before / (before + after))
    shift = 100.0 * before / (before + after) - 100.0 * before / (before + 1.5 * after)
    assert at_flameout.std_dev == pytest.approx(np.hypot(shift, 0.5 * before / (before + after)), rel=1e-3)


def test_where_the_loss_of_the_load_is_the_limit_there_is_doubt_downwards() -> None:
    # A small fire under a wide pot: at 0.5 +- 0.4 g/s all that may be steam is steam, and more changes nothing.
    c = replace(EXPECTED, below_g_s=0.5, covariance=np.diag([0.4**2, 0.3**2, 0.005**2]))
    cool = replace(model(), boiling=np.zeros(N, dtype=np.bool_))
    total = total_of(*cool.standing(c), OFF_S)
    less = float(np.sum(cool.rate(0.1, 1.6, WALL_G_S, 1.3)))
    assert total.std_dev > 0.8 * (total.nominal_value - less)


def test_a_weighed_total_leaves_doubt_the_one_way_that_is_open() -> None:
    # Under a lid until it boils, open over the glow, where all that may be steam is steam: only less can have left.
    seen = model()
    drive = np.where(seen.glowing & seen.inside, 2.2, 0.0)
    loss = np.where(seen.glowing, 0.05, seen.loss_g_s)
    glow = replace(seen, drive=drive, loss_g_s=loss, boiling=seen.boiling & ~seen.glowing)
    c = replace(EXPECTED, below_g_s=0.02, covariance=np.diag([0.01**2, 0.3**2, 1e-10]), u_char_ratio=1e-6)
    grams = float(np.sum(glow.rate(0.02, 1.6, WALL_G_S, 1.3)))
    at_flameout = total_of(*glow.closing(c, ufloat(grams, 0.5, "weighed"), OFF_S), OUT_S)
    # One deviation less: the coefficient is as likely half as large again as two thirds.
    less_g = (MOST_SHARE * 0.05 - 0.02 * np.exp(-0.5) * 2.2) * (OFF_S - OUT_S)
    assert less_g > 3.0
    assert at_flameout.std_dev > 0.8 * less_g


@pytest.mark.parametrize("boils", [True, False])
def test_a_stay_that_was_weighed_tells_what_to_expect_of_the_next(boils: bool) -> None:
    seen = model() if boils else replace(model(), boiling=np.zeros(N, dtype=np.bool_))
    grams = float(np.sum(seen.rate(0.065, 1.9, WALL_G_S, 1.3)))
    told = seen.told_by(EXPECTED, ufloat(grams, 0.5, "weighed"), float(OFF_S))
    again = float(np.sum(seen.rate(told.below_g_s, told.share, told.wall_g_s, 1.3)))
    assert again == pytest.approx(grams, abs=0.5)
    # Below boiling only the law is told.
    assert told.below_g_s > EXPECTED.below_g_s
    assert (told.share > EXPECTED.share) == boils
    if not boils:
        assert told.below_g_s == pytest.approx(0.065, rel=0.02)


def test_a_stay_that_tells_little_leaves_what_was_expected_no_less_sure() -> None:
    told = EXPECTED
    for _ in range(5):
        told = model().told_by(told, ufloat(110.0, 500.0, "weighed"), float(OFF_S))
    assert (np.diag(told.covariance) <= np.diag(EXPECTED.covariance) * (1.0 + 1e-9)).all()
    assert told.share == pytest.approx(EXPECTED.share, rel=0.01)


def test_what_a_stay_told_is_no_surer_in_the_next_than_it_is_constant() -> None:
    told = model().told_by(EXPECTED, ufloat(110.0, 0.1, "weighed"), float(OFF_S))
    u_below, u_share, _ = np.sqrt(np.diag(told.covariance))
    assert u_below >= 0.19 * told.below_g_s
    assert u_share >= 0.15 * told.share
