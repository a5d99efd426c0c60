"""Phases of a burn of which all is known, and of burns that lack something."""

from dataclasses import replace
from functools import cache

import pytest
from uncertainties import ufloat

import burn_fixture
from burn_fixture import CHAR_G, FLAMEOUT_S, FUEL_G, LIT_S, SECONDS, STARTER_G
from emberline.curves.events import EventKind, Phase
from emberline.heat.burn import Burn
from emberline.heat.phases import PhaseResult, phase_results
from emberline.heat.results import compute_results
from stove_fixture import BOILING_C, Stove, told


def phases(**changes: object) -> tuple[PhaseResult, ...]:
    account, events, plan, boiling_point = burn_fixture.usual()
    return phase_results(Burn(replace(account, **changes), events, plan, boiling_point))  # type: ignore[arg-type]


def test_a_burn_has_three_phases_that_follow_each_other() -> None:
    kindling, flaming, char = phases()
    assert [phase.phase for phase in (kindling, flaming, char)] == [Phase.KINDLING, Phase.FLAMING, Phase.CHAR]
    assert kindling.start_s == LIT_S
    assert kindling.end_s == flaming.start_s
    assert flaming.end_s == char.start_s == FLAMEOUT_S
    assert char.end_s == SECONDS - 1
    # The moments of lighting and flameout are unsure; the end of the record is not.
    assert flaming.duration.value.nominal_value == pytest.approx(FLAMEOUT_S - kindling.end_s)
    assert char.duration.value.std_dev == pytest.approx(6.0)


def test_phases_sum_to_the_burn() -> None:
    kindling, flaming, _ = phases()
    results = compute_results(*burn_fixture.usual()).values
    assert kindling.fuel_mass_lost is not None
    assert flaming.fuel_mass_lost is not None
    lost = kindling.fuel_mass_lost.value + flaming.fuel_mass_lost.value
    assert lost.nominal_value == pytest.approx(FUEL_G - CHAR_G)
    assert lost.std_dev == pytest.approx(results["fuel_mass_lost"].value.std_dev)
    assert kindling.firepower_mean is not None
    assert flaming.firepower_mean is not None
    released = sum(
        phase.firepower_mean.value * phase.duration.value for phase in (kindling, flaming) if phase.firepower_mean
    )
    whole = results["firepower_mean"].value * results["burn_time"].value
    assert released.nominal_value == pytest.approx(whole.nominal_value, rel=1e-6)


def test_the_starter_burns_while_kindling() -> None:
    kindling, flaming, _ = phases()
    assert kindling.burning_rate_mean is not None
    assert kindling.fuel_mass_lost is not None
    with_starter = kindling.burning_rate_mean.value * kindling.duration.value / 60.0
    assert (with_starter - kindling.fuel_mass_lost.value).nominal_value == pytest.approx(STARTER_G)
    assert flaming.burning_rate_mean is not None
    assert flaming.fuel_mass_lost is not None
    rate = 60.0 * flaming.fuel_mass_lost.value / flaming.duration.value
    assert flaming.burning_rate_mean.value.nominal_value == pytest.approx(rate.nominal_value)


def test_glowing_char_is_counted_as_char() -> None:
    *_, char = phases()
    assert char.burning_rate_mean is not None
    assert char.firepower_mean is not None
    assert char.burning_rate_mean.value.nominal_value == pytest.approx(0.6, rel=0.01)
    assert char.firepower_mean.value.nominal_value == pytest.approx(0.01 * 29_500.0, rel=0.01)


def test_without_flameout_there_is_no_char_and_without_lighting_no_phase() -> None:
    account, events, plan, boiling_point = burn_fixture.usual()
    burning = tuple(event for event in events if event.kind is not EventKind.FLAMEOUT)
    kinds = [phase.phase for phase in phase_results(Burn(account, burning, plan, boiling_point))]
    assert kinds == [Phase.KINDLING, Phase.FLAMING]
    unlit = tuple(event for event in events if event.kind is not EventKind.LIT)
    assert phase_results(Burn(account, unlit, plan, boiling_point)) == ()


def test_without_a_load_cell_only_times_are_known() -> None:
    plan = burn_fixture.plan()
    account = burn_fixture.SyntheticBurn(fuel_in_g=burn_fixture.fuel_in(plan), has_mass=False).account()
    flaming, char = phase_results(Burn(account, burn_fixture.events(), plan, burn_fixture.BOILING_POINT))
    assert (flaming.start_s, flaming.end_s) == (LIT_S, FLAMEOUT_S)
    assert flaming.fuel_mass_lost is flaming.firepower_mean is char.burning_rate_mean is None


@cache
def kept() -> tuple[Stove, tuple[PhaseResult, ...]]:
    stove = Stove(pot_off_s=None)
    told_apart = told(stove)
    burn = Burn(told_apart.account, told_apart.events, stove.plan(), ufloat(BOILING_C, 0.3, "pressure"))
    return stove, phase_results(burn)


def test_water_is_told_for_each_phase_with_the_pot_on() -> None:
    stove, told_phases = kept()
    # The pot is set down after kindling.
    assert told_phases[0].water_evaporated is None
    for phase in told_phases[1:]:
        water = phase.water_evaporated
        assert water is not None
        seconds = slice(int(phase.start_s), int(phase.end_s))
        true_g = float(stove.water_rate_g_s[seconds].sum())
        assert abs(water.value.nominal_value - true_g) < 2.5 * water.value.std_dev + 0.5


def test_no_water_without_a_pot() -> None:
    stove = Stove(pot_on_s=None)
    apart = told(stove)
    burn = Burn(apart.account, apart.events, stove.plan(), ufloat(BOILING_C, 0.3, "pressure"))
    assert all(phase.water_evaporated is None for phase in phase_results(burn))
