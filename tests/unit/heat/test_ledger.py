"""Whether fuel, water and steps add up to what the load cell saw."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.bench.channels import Role
from emberline.bench.plan import Plan, RefuelPlan
from emberline.curves.events import Phase
from emberline.curves.grid import grid_of
from emberline.curves.mass_steps import find_steps
from emberline.heat.ledger import build_account
from emberline.heat.result import Result
from emberline.heat.stay_seen import seconds_of
from stove_fixture import STOVE_G, Stove, Told, told

STOVES = {"lifted": Stove(), "kept": Stove(pot_off_s=None), "no pot": Stove(pot_on_s=None)}


@cache
def apart(name: str) -> Told:
    return told(STOVES[name])


ALL = pytest.mark.parametrize("name", list(STOVES))
CELL = {"mass_curve", "mass_step", "load_cell_span", "load_cell_drift", "load_cell_creep", "draught"}


@ALL
def test_fuel_and_water_and_loads_add_up_to_what_the_cell_saw(name: str) -> None:
    stove, account = STOVES[name], apart(name).account
    mass = grid_of(stove.curves()).columns[Role.MASS]
    sum_g = STOVE_G + account.fuel_g
    for course in apart(name).courses:
        inside = seconds_of(course.window, stove.n)
        sum_g = sum_g + np.where(inside, stove.tare_g + account.water_g, 0.0)
    calm = np.ones(stove.n, dtype=np.bool_)
    for step in find_steps(mass):
        calm[step.start_s : step.end_s + 1] = False
    assert calm.mean() > 0.97
    # 0.1 g of noise a sample; steps are known to a tenth of a gram.
    assert np.max(np.abs(sum_g - mass.value)[calm]) < 0.7
    assert abs(np.mean((sum_g - mass.value)[calm])) < 0.2


@ALL
def test_what_left_is_fuel_or_water(name: str) -> None:
    told_apart = apart(name)
    for a_s, b_s in ((0.0, 1500.0), (80.0, 1050.0), (300.0, 700.0), (640.0, 641.0)):
        water = sum(course.lost_by(b_s) - course.lost_by(a_s) for course in told_apart.courses)
        total = told_apart.account.fuel_lost(a_s, b_s) + water
        expected = told_apart.scale.lost(a_s, b_s)
        # The fuel's curve is smoothed by itself, and so rounds none of the water's bends.
        assert total.nominal_value == pytest.approx(expected.nominal_value, abs=0.1)
        # Whatever is unsure of the split is not unsure of the sum.
        parts = Result(total, "g").budget
        assert sum(part**2 for tag, part in parts.items() if tag not in CELL) < 1e-6 * total.std_dev**2


@ALL
def test_the_fuel_lost_is_the_fuel_that_burnt(name: str) -> None:
    stove, account = STOVES[name], apart(name).account
    for a_s, b_s in ((80.0, 1050.0), (80.0, 500.0), (500.0, 1050.0), (1050.0, 1400.0)):
        lost = account.fuel_lost(a_s, b_s)
        assert abs(lost.nominal_value - stove.burnt_g(a_s, b_s)) < 3.0 * lost.std_dev


def test_fuel_burnt_under_a_pot_lacks_nothing_where_steam_stops_as_it_is_lifted() -> None:
    errors = []
    for seed in range(1, 5):
        stove = Stove(share=2.2, noise_g=0.3, seed=seed)
        on_s, off_s = 200.0, 800.0
        errors.append(told(stove).account.fuel_lost(on_s, off_s).nominal_value - stove.burnt_g(on_s, off_s))
    # The water's bend, 0.35 g/s that end at once, rounded by the smoother over some seconds, is half a gram.
    assert abs(np.mean(errors)) < 0.25


@ALL
def test_the_fuel_left_is_followed_second_by_second(name: str) -> None:
    stove, account = STOVES[name], apart(name).account
    true = stove.fuel_g - np.cumsum(stove.fuel_rate_g_s)
    departure = (account.fuel_g - true) / account.u_fuel_g
    assert np.mean(np.abs(departure) < 2.0) > 0.9
    assert np.max(np.abs(departure)) < 4.0


@ALL
def test_the_burning_rate_is_that_of_the_fuel(name: str) -> None:
    stove, account = STOVES[name], apart(name).account
    steady = (stove.t_s > 220.0) & (stove.t_s < 960.0)
    departure = account.burning_rate_g_min[steady] - 60.0 * stove.fuel_rate_g_s[steady]
    assert abs(np.mean(departure)) < 2.0 * np.mean(account.u_burning_rate_g_min[steady])
    assert np.mean(np.abs(departure) < 3.0 * account.u_burning_rate_g_min[steady]) > 0.95


def test_the_water_is_followed_while_the_pot_stands() -> None:
    stove, account = STOVES["lifted"], apart("lifted").account
    (visit,) = account.visits
    stands = (account.t_s > visit.pot_on_s) & (account.t_s < visit.end_s)
    assert np.isfinite(account.water_g[stands]).all()
    assert np.isnan(account.water_g[~stands]).all()
    true = stove.water_g - np.cumsum(stove.water_rate_g_s)
    assert np.max(np.abs(account.water_g - true)[stands]) < 4.0


def test_a_visit_says_what_happened_to_the_pot() -> None:
    stove = STOVES["lifted"]
    (visit,) = apart("lifted").account.visits
    assert visit.pot_off_s == visit.end_s
    assert abs(visit.pot_on_s - 202.0) <= 2.0
    assert visit.boil_s == stove.boil_s
    assert visit.water_start_g is not None
    assert visit.water_start_g.nominal_value == 500.0
    assert visit.water_start_c is not None
    assert visit.water_boil_c is not None
    # The water warms by 16 K a minute: read some seconds late, its start would be warmer than it was.
    departure = visit.water_start_c.nominal_value - 18.0
    assert abs(departure) < 3.0 * (visit.water_boil_c - visit.water_start_c).std_dev
    assert visit.water_boil_c.nominal_value == pytest.approx(99.3, abs=0.1)
    assert visit.evaporated_g is not None
    assert visit.evaporated_g.nominal_value == pytest.approx(stove.evaporated_g(), abs=1.0)


def test_one_probe_has_one_error() -> None:
    (visit,) = apart("lifted").account.visits
    assert visit.water_start_c is not None
    assert visit.water_boil_c is not None
    rise = visit.water_boil_c - visit.water_start_c
    # 1.85 K of constant error cancel; the span, the stirring and the moment on a ramp of 0.27 K/s stay.
    assert rise.std_dev < 1.0 < 1.85 < visit.water_boil_c.std_dev


def test_a_pot_never_lifted_counts_to_the_end_and_its_flame_heat_to_flameout() -> None:
    stove = STOVES["kept"]
    (visit,) = apart("kept").account.visits
    assert visit.pot_off_s is None
    assert visit.end_s == stove.n
    assert visit.evaporated_g is not None
    assert visit.evaporated_flaming_g is not None
    assert visit.evaporated_flaming_g.nominal_value < visit.evaporated_g.nominal_value
    flaming_g = visit.evaporated_flaming_g
    assert abs(flaming_g.nominal_value - stove.evaporated_g(stove.flameout_s)) < 2.5 * flaming_g.std_dev


def test_phases_follow_the_burn() -> None:
    stove, account = STOVES["lifted"], apart("lifted").account
    order = list(dict.fromkeys(account.phase))
    assert order == [Phase.WAITING, Phase.KINDLING, Phase.FLAMING, Phase.CHAR]
    starts = {phase: account.phase.index(phase) for phase in order}
    assert starts[Phase.KINDLING] == 80
    assert abs(starts[Phase.CHAR] - stove.flameout_s) <= 1
    # 60 % of the level are reached 54 s after lighting.
    assert abs(starts[Phase.FLAMING] - 134) < 25


def test_fuel_put_in_counts_kindling_and_refuels() -> None:
    stove = STOVES["no pot"]
    plan = stove.plan()
    plan = replace(plan, fuel=replace(plan.fuel, kindling_g=ufloat(12.0, 0.5, "fuel.kindling_g")))
    assert _fuel_in(stove, plan) == pytest.approx(202.0)
    refuelled = Refuelled(pot_on_s=None)
    assert _fuel_in(refuelled, plan) == pytest.approx(202.0 + 60.0, abs=0.5)
    weighed = replace(plan, refuels=(RefuelPlan(ufloat(60.7, 0.5, "refuel.1.mass_g")),))
    assert _fuel_in(refuelled, weighed) == pytest.approx(202.0 + 60.7)
    assert told(stove, Plan()).account.fuel_in_g is None


def _fuel_in(stove: Stove, plan: Plan) -> float:
    fuel_in_g = told(stove, plan).account.fuel_in_g
    assert fuel_in_g is not None
    return float(fuel_in_g.nominal_value)


class Refuelled(Stove):
    """A burn on which 60 g are laid after ten minutes."""

    @property
    def load_g(self) -> np.ndarray:
        return super().load_g + np.where(self.t_s > 600.0, 60.0, 0.0)


def test_a_refuel_is_no_loss() -> None:
    stove = Refuelled(pot_on_s=None)
    account = told(stove, STOVES["no pot"].plan()).account
    lost = account.fuel_lost(80.0, 1050.0)
    assert abs(lost.nominal_value - stove.burnt_g(80.0, 1050.0)) < 3.0 * lost.std_dev
    assert account.fuel_g[620] - account.fuel_g[590] == pytest.approx(60.0 - 0.16 * 30.0, abs=1.0)


@pytest.mark.parametrize(("a_s", "b_s"), [(-1.0, 10.0), (20.0, 10.0), (0.0, 1502.0)])
def test_what_lies_outside_the_record_is_refused(a_s: float, b_s: float) -> None:
    with pytest.raises(ValueError, match="outside the record"):
        apart("no pot").account.fuel_lost(a_s, b_s)


def test_without_a_cell_nothing_is_known_of_the_fuel() -> None:
    told_apart = apart("lifted")
    account = build_account(None, None, (), told_apart.pot, STOVES["lifted"].plan(), told_apart.events, 1500)
    assert not account.has_mass
    assert account.fuel_in_g is None
    for curve in (account.fuel_g, account.u_fuel_g, account.burning_rate_g_min, account.water_g):
        assert np.isnan(curve).all()
    with pytest.raises(ValueError, match="no load cell"):
        account.fuel_lost(0.0, 10.0)


def test_without_lighting_everything_waits() -> None:
    told_apart = apart("lifted")
    account = build_account(told_apart.scale, told_apart.fuel, (), told_apart.pot, Plan(), (), 1500)
    assert set(account.phase) == {Phase.WAITING}


def test_water_that_boiled_is_hot_though_its_probe_came_out_of_it() -> None:
    stove, boiled = STOVES["lifted"], apart("lifted")
    water_c = np.where(np.arange(stove.n) > stove.boil_s + 100.0, np.nan, boiled.pot.water_c)
    pot = replace(boiled.pot, water_c=water_c)
    account = build_account(boiled.scale, boiled.fuel, boiled.courses, pot, stove.plan(), boiled.events, stove.n)
    (visit,), (read,) = account.visits, boiled.account.visits
    assert visit.water_heat_end_c is not None
    assert read.water_heat_end_c is not None
    assert abs(visit.water_heat_end_c.nominal_value - read.water_heat_end_c.nominal_value) < 0.3
    assert visit.water_heat_end_c.std_dev > 1.5
    assert visit.heat_end_slope_k_s == 0.0
