"""What a live run estimates, on a stove whose fuel and water are known second by second."""

from functools import cache
from types import SimpleNamespace

import pytest
from uncertainties import ufloat

from emberline.bench.channels import Role, default_channel
from emberline.bench.fuels import heat_of_volatiles
from emberline.bench.plan import empty_plan, parse_plan
from emberline.curves.grid import grid_of
from emberline.curves.loads import Stay
from emberline.trials.estimates import NO_POT, NOT_LIT, Estimates, PotWater
from emberline.trials.forecast import Forecast, NoForecast
from emberline.trials.live_estimates import Estimator, _Balance
from emberline.trials.tracker import Tracker
from stove_fixture import Stove
from unit.trials.alarms.looked_at import step

CHANNELS = {role: default_channel(role) for role in Role}
STOVE = Stove(n=1250)


def estimates(
    stove: Stove, *, until_s: int, planned: bool = True, water: dict[int, PotWater | None] | None = None
) -> dict[int, Estimates]:
    """Follow a stove; return its estimates every five seconds, and put the water of its pot where that is asked for."""
    grid = grid_of(stove.curves())
    plan = stove.plan() if planned else empty_plan()
    tracker, estimator = Tracker(CHANNELS, plan), Estimator(CHANNELS, plan, 600.0)
    found = {}
    for second in range(1, until_s + 1):
        tracker.look(grid.upto(second))
        if second % 5 == 0:
            found[second] = estimator.look(grid.upto(second), tracker)
            if water is not None:
                water[second] = estimator.water
    return found


@cache
def followed() -> tuple[dict[int, Estimates], dict[int, PotWater | None]]:
    water: dict[int, PotWater | None] = {}
    return estimates(STOVE, until_s=1240, water=water), water


def usual() -> dict[int, Estimates]:
    return followed()[0]


def test_before_the_fire_nothing_is_known() -> None:
    assert usual()[60] == Estimates(boil=NO_POT, flameout=NOT_LIT)


@pytest.mark.parametrize("second", [300, 500, 700, 900])
def test_what_has_burnt_is_within_its_interval_with_and_without_steam(second: int) -> None:
    burnt = usual()[second].burnt_g
    assert burnt is not None
    true = STOVE.burnt_g(0.0, float(second))
    assert abs(burnt.nominal_value - true) < 2.0 * burnt.std_dev
    assert burnt.std_dev < 0.35 * true


@pytest.mark.parametrize("second", [300, 700, 900])
def test_the_burning_rate_is_the_fuels_own(second: int) -> None:
    rate = usual()[second].rate_g_min
    assert rate is not None
    assert abs(rate.nominal_value - 60.0 * STOVE.level_g_s) < 2.0 * rate.std_dev + 0.3
    assert usual()[second].held == (second == 700)


@pytest.mark.parametrize("second", [300, 500, 700, 900])
def test_the_firepower_is_that_of_the_fuel_that_leaves(second: int) -> None:
    power = usual()[second].firepower_w
    assert power is not None
    plan = STOVE.plan().fuel
    assert plan.lhv_dry_j_g is not None
    assert plan.moisture_wet is not None
    # Design of the stove: its own loss, at the heat of what leaves where 17 % of the dry fuel stay as char.
    heat_j_g = heat_of_volatiles(plan.lhv_dry_j_g.n, 29_500.0, plan.moisture_wet.n, 0.17)
    true_w = STOVE.level_g_s * heat_j_g
    assert abs(power.nominal_value - true_w) < 2.0 * power.std_dev
    assert 0.1 < power.std_dev / true_w < 0.4


def test_the_boil_and_the_flameout_are_forecast_within_their_intervals() -> None:
    boil, out = usual()[450].boil, usual()[500].flameout
    assert isinstance(boil, Forecast)
    assert boil.interval_95[0] < STOVE.boil_s < boil.interval_95[1]
    assert isinstance(out, Forecast)
    assert out.interval_95[0] < STOVE.flameout_s < out.interval_95[1]


def test_what_cannot_be_known_has_its_reason() -> None:
    assert usual()[700].boil == NoForecast("it has boiled")
    assert usual()[1240].flameout == NoForecast("the flame is out")
    unplanned = estimates(Stove(pot_on_s=None), until_s=300, planned=False)[300]
    assert unplanned.boil == NO_POT
    assert unplanned.flameout == NoForecast("the plan gives no mass of fuel")
    assert unplanned.progress is None


def test_a_pot_that_stood_there_before_the_record_is_forecast_once_its_water_warms() -> None:
    found = estimates(Stove(pot_on_s=-5.0, pot_off_s=None), until_s=400)
    assert found[100].boil == NO_POT
    assert isinstance(found[400].boil, Forecast | NoForecast)
    assert found[400].boil != NO_POT


def test_progress_runs_through_the_flame_and_begins_anew_with_the_char() -> None:
    shares = [usual()[second].progress for second in (300, 600, 1000, 1240)]
    known = [share for share in shares if share is not None]
    assert len(known) == 4
    assert known[0] < known[1] < known[2] <= 1.0
    assert known[3] < 0.5


def test_the_water_left_is_within_its_interval_while_the_pot_stands_and_unknown_without_one() -> None:
    for second in (500, 700):
        left_g = usual()[second].water_left_g
        assert left_g is not None
        true = STOVE.water_g - STOVE.evaporated_g(float(second))
        assert abs(left_g.nominal_value - true) < 2.0 * left_g.std_dev + 2.0
    assert usual()[200].water_left_g is None
    assert usual()[1_000].water_left_g is None


def test_steam_that_may_have_left_before_the_boil_is_announced_widens_what_is_known_of_the_water() -> None:
    boil = next(second for second in range(300, 1_000, 5) if usual()[second].boil == NoForecast("it has boiled"))
    before = followed()[1][boil - 5]
    early = followed()[1][300]
    assert before is not None
    assert early is not None
    true = STOVE.evaporated_g(float(boil - 5))
    assert abs(before.lost_g.nominal_value - true) < 2.0 * before.lost_g.std_dev
    assert before.lost_g.std_dev > 3.0 * early.lost_g.std_dev


def test_a_pot_that_was_only_looked_into_holds_what_the_scale_says() -> None:
    stays = (Stay(step(100, 800.0), step(300, -790.0)), Stay(step(330, 780.0), None))
    tracker = SimpleNamespace(stays=stays)
    balance = _Balance(400, ufloat(50.0, 2.0), ufloat(0.1, 0.01), ufloat(0.0, 0.01), ufloat(5.0, 1.0))
    for visits, filled_g in (("", 480.0), ("[[pot.visit]]\n[[pot.visit]]\nwater_g = 470.0\n", 470.0)):
        plan = parse_plan(f"[pot]\ntare_g = 300.0\nwater_g = 500.0\n{visits}")
        water = Estimator(CHANNELS, plan, 600.0)._water(balance, tracker, 400, 0.0)  # type: ignore[arg-type]
        assert water is not None
        assert water.filled_g is not None
        assert water.filled_g.nominal_value == filled_g
