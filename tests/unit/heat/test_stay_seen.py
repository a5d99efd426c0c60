"""What is seen of a stay, on a burn of which every second is known."""

from dataclasses import replace

import numpy as np
from uncertainties import ufloat

from emberline.bench.air import Place
from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import PotPlan
from emberline.curves.events import EventKind
from emberline.curves.loads import Stay
from emberline.heat.evaporation import vapour_drive
from emberline.heat.stay_seen import PotCurves, StaySeen, pressure_pa, seconds_of, see_stay, water_set_down_g
from stove_fixture import BOILING_C, Stove, told

STOVE = Stove(pot_off_s=None)
TOLD = told(STOVE)


def seen_with(low_k: float, *, boils: bool = True) -> StaySeen:
    """Look at the stay by a probe that reads too low."""
    pot = PotCurves(TOLD.pot.water_c - low_k, default_channel(Role.WATER), ufloat(BOILING_C, 0.3))
    events = [event for event in TOLD.events if boils or event.kind is not EventKind.BOIL]
    return see_stay(TOLD.scale, pot, STOVE.plan(), events, 0, STOVE.n, (0.3, 0.1))


def test_a_plateau_tells_how_wrong_the_probe_is() -> None:
    right, low = seen_with(0.0), seen_with(1.8)
    np.testing.assert_allclose(low.model.drive, right.model.drive, rtol=1e-9)
    assert low.model.u_probe_k == right.model.u_probe_k < 0.5
    assert low.ramp == (int(low.window[0]), int(STOVE.boil_s))
    ramp = slice(*right.ramp)
    true = vapour_drive(
        TOLD.pot.water_c + BOILING_C - np.nanmedian(TOLD.pot.water_c[-60:]), pressure_pa(STOVE.plan().place)
    )
    np.testing.assert_allclose(right.model.drive[ramp], true[ramp], rtol=0.05)


def test_without_a_boil_the_probe_may_be_as_wrong_as_such_probes_are() -> None:
    unboiled = seen_with(0.0, boils=False)
    assert unboiled.model.u_probe_k > 1.5
    assert not unboiled.model.boiling.any()
    # Near boiling two kelvins are a sixth or more of what evaporates.
    hot = unboiled.model.inside & (TOLD.pot.water_c > 90.0) & (TOLD.pot.water_c < 96.0)
    assert (unboiled.model.warmer_drive[hot] > 1.15 * unboiled.model.drive[hot]).all()


def test_water_that_nobody_weighed_is_told_by_the_load_of_the_filled_pot() -> None:
    plan, (stay,) = STOVE.plan(), TOLD.scale.loads.stays
    assert plan.pot is not None
    tare_only = water_set_down_g(replace(plan, pot=PotPlan(tare_g=plan.pot.tare_g)), stay, 0)
    nothing = water_set_down_g(replace(plan, pot=None), stay, 0)
    assert water_set_down_g(plan, stay, 0) is plan.pot.visit(0).water_g
    assert tare_only is not None
    assert nothing is not None
    assert abs(tare_only.n - STOVE.water_g) < 1.0
    assert tare_only.s < 2.0
    assert abs(nothing.n - STOVE.water_g) < 2.0 * nothing.s < 0.4 * STOVE.water_g


def test_of_a_pot_that_nobody_saw_set_down_nobody_knows_what_its_cooling_gives() -> None:
    plan, stood_there = replace(STOVE.plan(), pot=None), Stay(None, None)
    scale = replace(TOLD.scale, loads=replace(TOLD.scale.loads, stays=(stood_there,)))
    seen = see_stay(scale, TOLD.pot, plan, TOLD.events, 0, STOVE.n, (0.3, 0.1))
    assert water_set_down_g(plan, stood_there, 0) is None
    assert not seen.model.cooling_g_s.any()
    assert seen_with(0.0).model.cooling_g_s.any()


def test_a_second_belongs_to_a_stay_by_its_middle() -> None:
    assert np.flatnonzero(seconds_of((2.5, 5.5), 8)).tolist() == [2, 3, 4]
    assert not seconds_of((5.0, 5.0), 8).any()


def test_air_is_thinner_on_a_mountain() -> None:
    assert pressure_pa(Place(altitude_m=ufloat(3000.0, 10.0))) < 72_000.0 < pressure_pa(Place())
    assert pressure_pa(Place(pressure_pa=ufloat(90_000.0, 100.0))) == 90_000.0
