from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from emberline_sim.course import STEP_S, _flame_ends, rng_of, run_course
from emberline_sim.scenario import Scenario
from emberline_sim.specs import ChannelsSpec, GapSpec
from emberline_sim.trial_specs import BurnSpec, FuelSpec, PlaceSpec, PotSpec, VisitSpec

BURN = Scenario(
    "t", "s", 7, 2400.0, ChannelsSpec(), FuelSpec("chips", 180.0),
    pot=PotSpec(visits=(VisitSpec(200.0, off_after_boil_s=30.0),)),
)  # fmt: skip


def test_heat_that_left_equals_what_the_fuel_lost() -> None:
    course = run_course(replace(BURN, burn=BurnSpec(char_factor=0.0)))
    assert BURN.fuel is not None
    assert course.flameout_s is not None
    fuel = BURN.fuel
    as_fired_j = fuel.mass_g * (0.9 * fuel.lhv_dry_j_g - 2443.0 * 0.1)
    char_j = course.column["char_g"][-1] * fuel.char_lhv_j_g
    assert course.column["released_j"][-1] == pytest.approx(as_fired_j - char_j + 3.0 * 26800.0, rel=2e-3)
    assert course.column["firepower_w"].sum() * STEP_S == pytest.approx(course.column["released_j"][-1])


def test_mass_balance_holds_at_every_step() -> None:
    column = run_course(BURN).column
    lost = np.cumsum(column["volatiles_g_s"] + column["char_g_s"]) * STEP_S
    np.testing.assert_allclose(column["fuel_g"] + lost, 180.0, rtol=1e-9)
    np.testing.assert_allclose(column["raw_g"] + column["pyrolysing_g"] + column["char_g"], column["fuel_g"])


def test_water_heat_is_less_than_the_heat_that_was_released() -> None:
    course = run_course(BURN)
    (visit,) = course.visits
    assert visit.boil_s is not None
    at = round(visit.boil_s / STEP_S)
    released_j = course.column["released_j"][at] - course.at("released_j", visit.on_s)
    assert 0.15 < course.column["into_water_j"][at] / released_j < 0.5


def test_a_longer_record_does_not_change_what_happened() -> None:
    short, longer = run_course(BURN), run_course(replace(BURN, gap=(GapSpec(1.0, 2.0),)))
    np.testing.assert_array_equal(short.column["fuel_g"], longer.column["fuel_g"])


def test_snuffing_waits_for_flameout() -> None:
    course = run_course(replace(BURN, burn=BurnSpec(snuffed_after_s=40.0)))
    assert course.flameout_s is not None
    after = course.column["fuel_g"][round((course.flameout_s + 45.0) / STEP_S) :]
    assert np.ptp(after) == 0.0
    assert course.at("fuel_g", course.flameout_s) > after[0]


def test_wind_slows_the_boil() -> None:
    still, windy = run_course(BURN), run_course(replace(BURN, place=PlaceSpec(wind_m_s=1.5)))
    assert still.visits[0].boil_s is not None
    assert windy.visits[0].boil_s is None or windy.visits[0].boil_s > still.visits[0].boil_s


def test_parts_draw_from_sources_of_their_own() -> None:
    assert rng_of(BURN, "bed").random() == rng_of(BURN, "bed").random()
    assert rng_of(BURN, "bed").random() != rng_of(BURN, "wander").random()
    assert rng_of(BURN, "bed").random() != rng_of(replace(BURN, seed=8), "bed").random()


def flame_of(*runs: tuple[int, int], n: int = 400) -> NDArray[np.bool_]:
    flame = np.zeros(n, dtype=np.bool_)
    for low, high in runs:
        flame[low:high] = True
    return flame


def test_flameout_is_the_final_end_of_sustained_flame() -> None:
    t_s: NDArray[np.float64] = np.linspace(0.0, 399 * STEP_S, 400)
    assert _flame_ends(t_s, flame_of((10, 100))) == (49.5, ())
    # A flare of 5 s after the end is no return of the flame; one of 20 s is.
    assert _flame_ends(t_s, flame_of((10, 100), (120, 130)))[0] == 49.5
    assert _flame_ends(t_s, flame_of((10, 100), (120, 160))) == (79.5, ((49.5, 59.5),))
    assert _flame_ends(t_s, flame_of((10, 400))) == (None, ())
    assert _flame_ends(t_s, flame_of()) == (None, ())
