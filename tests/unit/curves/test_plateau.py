"""Plateaus: how they are described, and what is no plateau."""

import numpy as np
import pytest
from numpy.typing import NDArray

from boil_fixture import BOILING_C, CLASS_2, GOOD, fine, ramp, seen, stall
from column_fixture import seconds
from emberline.curves.plateau import find_plateau


def test_a_plateau_says_how_it_came_about() -> None:
    value = seen(ramp(slope_k_min=11.0))
    plateau = find_plateau(seconds(600), value, BOILING_C, GOOD, 30)
    assert plateau is not None
    assert plateau.level_c == pytest.approx(99.3, abs=0.15)
    assert plateau.slope_k_s * 60.0 == pytest.approx(11.0, rel=0.15)
    assert plateau.sharpness > 0.7
    assert plateau.held_s == pytest.approx(200.0, abs=15.0)


def test_samples_are_dated_when_they_were_taken() -> None:
    value = seen(ramp())
    early = find_plateau(seconds(600) - 0.4, value, BOILING_C, GOOD, 30)
    late = find_plateau(seconds(600), value, BOILING_C, GOOD, 30)
    assert early is not None
    assert late is not None
    assert late.t_s - early.t_s == pytest.approx(0.4, abs=0.1)


def test_an_exponential_approach_is_soft() -> None:
    # Slopes in proportion to the distance left: 2.75 / 11.5 = 0.24 of the slope well below.
    plateau = find_plateau(seconds(1800), seen(stall(ceiling_c=98.5, tau_s=90.0)), BOILING_C, CLASS_2, 30)
    assert plateau is not None
    assert plateau.sharpness < 0.4
    assert plateau.u_s > 5.0


def weakened(end_c: float, tau_s: float | None) -> NDArray[np.float64]:
    """Water over a fire that weakens 7 K below boiling, and goes on evenly, or ever slower towards a ceiling."""
    t = fine(1800)
    last = np.minimum(end_c, 92.3 + 0.02 * (t - 500.0))
    if tau_s is not None:
        last = end_c - (end_c - 92.3) * np.exp((500.0 - t) / tau_s)
    return np.where(t < 500.0, np.interp(t, [0.0, 500.0], [18.0, 92.3]), last)


def test_a_slow_ramp_that_a_weakening_fire_bent_before_ends_sharply_all_the_same() -> None:
    plateau = find_plateau(seconds(1800), seen(weakened(99.3, None)), BOILING_C, CLASS_2, 30)
    assert plateau is not None
    assert plateau.t_s == pytest.approx(850.0, abs=8.0)
    assert plateau.sharpness > 0.7
    assert plateau.u_s < 20.0


def test_a_live_curve_may_be_in_a_pause_and_is_looked_at_so_closely_only_once_it_lasts() -> None:
    value = seen(weakened(99.3, None))
    early, late = (find_plateau(seconds(n), value[:n], BOILING_C, CLASS_2, 8) for n in (910, 1050))
    assert early is None or early.sharpness < 0.5
    assert late is not None
    assert late.sharpness > 0.7


def test_an_approach_to_a_ceiling_is_soft_at_every_distance() -> None:
    plateau = find_plateau(seconds(1800), seen(weakened(98.6, 150.0)), BOILING_C, CLASS_2, 30)
    assert plateau is None or plateau.sharpness < 0.5


def test_what_people_call_the_boil_is_no_sharper_than_a_knee_is_round() -> None:
    # The last 15 K at 6 K a minute, but for the last 4 K at 0.68 of that: where it boils is a convention.
    straight = find_plateau(seconds(900), seen(np.interp(fine(900), [0.0, 700.0], [29.3, 99.3])), BOILING_C, GOOD, 30)
    round_c = seen(np.interp(fine(900), [0.0, 640.0, 700.0], [28.4, 95.2, 99.3]))
    rounded = find_plateau(seconds(900), round_c, BOILING_C, GOOD, 30)
    assert straight is not None
    assert rounded is not None
    assert 0.6 < rounded.sharpness < 0.75 < straight.sharpness
    assert straight.u_s > 0.2 / straight.slope_k_s
    assert rounded.u_s > 1.2 * straight.u_s * straight.slope_k_s / rounded.slope_k_s


def test_a_lull_counts_neither_for_the_slope_nor_for_the_shape() -> None:
    # The fire pauses 3 K below the boil: what is seen of the ramp is too short to have a shape.
    value = seen(np.interp(fine(900), [0.0, 400.0, 500.0, 530.0], [18.0, 96.3, 96.3, 99.3]))
    plateau = find_plateau(seconds(900), value, BOILING_C, CLASS_2, 30)
    assert plateau is not None
    assert plateau.t_s == pytest.approx(530.0, abs=3.0)
    assert np.isnan(plateau.sharpness)
    assert plateau.slope_k_s == pytest.approx(0.1, rel=0.2)


def test_a_probe_put_back_into_boiling_water_shows_no_boil() -> None:
    t = fine(600)
    value = seen(np.where(t < 300.0, 40.0, 99.3), 1.0)
    assert find_plateau(seconds(600), value, BOILING_C, GOOD, 30) is None


def test_a_slow_ramp_is_watched_until_it_would_have_gone_on() -> None:
    # 1 K a minute looks flat for ten seconds at any moment.
    value = seen(ramp(3000, boil_s=5000.0, slope_k_min=1.0, top_c=140.0, from_c=60.0), noise_k=0.2)
    for end in range(300, 3000, 300):
        assert find_plateau(seconds(end), value[:end], BOILING_C, GOOD, 10) is None


def test_a_knee_still_ahead_is_not_guessed() -> None:
    # The ramp slackens for half a minute before it goes on: nothing has ended yet.
    value = seen(np.interp(fine(900), [0.0, 400.0, 430.0, 440.0], [18.0, 97.6, 98.0, 99.3]), noise_k=0.15)
    for end in range(412, 432, 2):
        plateau = find_plateau(seconds(end), value[:end], BOILING_C, CLASS_2, 10)
        assert plateau is None or plateau.t_s < end - 5.0
