"""What the accuracy benchmark takes for true: boils, events that a bench can see, results as a summary defines them."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.accuracy.boils import boils_of
from benchmarks.accuracy.mixing import mixed
from benchmarks.accuracy.true_events import expected_of, traits_of
from benchmarks.accuracy.true_results import results_of
from emberline_sim.family import random_scenario
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import load_scenario


@cache
def usual() -> Recording:
    return record(load_scenario("pellets_pot_lifted"))


def warmed(ramp_c: NDArray[np.float64]) -> Recording:
    """Return the usual recording with another course of the water's temperature, and no boil of the simulator's own."""
    recording = usual()
    truth, (stay, *_) = recording.truth, recording.truth.stays
    curves = truth.curves
    water_c = np.interp(curves.t_s - stay.pot_on_s, np.arange(len(ramp_c)), ramp_c)
    lasting = replace(stay, boil_s=None, pot_off_s=None)
    changed = replace(truth, stays=(lasting,), boiling_point_c=99.0, curves=replace(curves, water_c=water_c))
    return replace(recording, truth=changed)


def ramp_to(level_c: float) -> NDArray[np.float64]:
    """Return a ramp of 0.2 K/s from 20 °C to a level."""
    return np.asarray(np.minimum(20.0 + 0.2 * np.arange(1200), level_c))


def test_the_simulators_own_boil_stands_where_water_reaches_its_boiling_point() -> None:
    ((stay, boil),) = boils_of(usual())
    assert boil.sure
    assert boil.t_s == stay.boil_s


def test_water_that_settles_a_little_below_boiling_boils_when_it_settles() -> None:
    ((stay, boil),) = boils_of(warmed(ramp_to(98.7)))
    assert boil.sure
    # It comes within 0.2 K of 98.7 °C.
    assert boil.t_s - stay.pot_on_s == pytest.approx((98.5 - 20.0) / 0.2, abs=2.0)


def test_water_that_simmers_may_be_called_boiling_or_not() -> None:
    ((_, boil),) = boils_of(warmed(ramp_to(97.5)))
    assert not boil.sure


def test_water_that_stalls_does_not_boil() -> None:
    assert list(boils_of(warmed(ramp_to(92.0)))) == []


def test_a_boil_without_a_working_probe_is_not_demanded() -> None:
    recording = usual()
    seen = [event.optional for event in expected_of(recording) if event.kind == "boil"]
    water = recording.channels["water"]
    broken = replace(water, value=np.full(len(water.value), np.nan))
    blind = replace(recording, channels={**recording.channels, "water": broken})
    unfitted = replace(recording, channels={role: one for role, one in recording.channels.items() if role != "water"})
    assert seen == [False]
    for other in (blind, unfitted):
        assert [event.optional for event in expected_of(other) if event.kind == "boil"] == [True]


def test_water_that_boiled_as_the_record_began_need_not_be_dated() -> None:
    recording = usual()
    (stay,) = recording.truth.stays
    begun = replace(recording, truth=replace(recording.truth, stays=(replace(stay, pot_on_s=0.0, boil_s=1.0),)))
    assert [event.optional for event in expected_of(recording) if event.kind == "boil"] == [False]
    assert [event.optional for event in expected_of(begun) if event.kind == "boil"] == [True]


def test_a_bench_without_a_load_cell_sees_no_loads_and_gives_no_masses() -> None:
    recording = usual()
    bare = replace(recording, channels={"water": recording.channels["water"]})
    assert {event.kind for event in expected_of(bare) if not event.optional} == {"boil"}
    assert results_of(bare) == {}
    assert "has mass" not in traits_of(bare)


def test_a_pot_that_is_lifted_as_the_record_ends_is_not_weighed_coming_off() -> None:
    recording = usual()
    off_s = recording.truth.stays[-1].pot_off_s
    assert off_s is not None
    assert "lifted" in traits_of(recording)
    cut = {
        role: replace(one, t_s=one.t_s[one.t_s < off_s + 1.0], value=one.value[one.t_s < off_s + 1.0])
        for role, one in recording.channels.items()
    }
    assert {"never lifted"} <= traits_of(replace(recording, channels=cut))


def test_results_agree_with_the_truth_that_they_come_from() -> None:
    recording = usual()
    truth, results = recording.truth, results_of(recording)
    lit_s, out_s, boil_s = (truth.time_of(kind) for kind in ("lit", "flameout", "boil"))
    assert lit_s is not None
    assert out_s is not None
    assert boil_s is not None
    assert results["burn_time"] == out_s - lit_s
    assert results["time_to_boil_from_lit"] == boil_s - lit_s
    minutes = results["burn_time"] / 60.0
    assert truth.heat_released_j == pytest.approx(results["firepower_mean"] * 60.0 * minutes)
    # Char keeps what credit gives back, so the share of all the fuel's heat is the smaller one.
    assert (
        results["thermal_efficiency"]
        < results["thermal_efficiency_char_credit"]
        < results["pot_window_efficiency"] * 1.2
    )
    assert recording.scenario.fuel is not None
    assert results["char_left"] + results["fuel_mass_lost"] == pytest.approx(recording.scenario.fuel.mass_g)


def test_mixing_reaches_every_subset_of_channels_and_every_fault() -> None:
    drawn = [mixed(random_scenario(seed, "chips"), np.random.default_rng(seed)) for seed in range(250)]
    subsets = {
        tuple(role for role in ("water", "flame", "mass") if getattr(one.channels, role) is not None) for one in drawn
    }
    assert {("water", "flame", "mass"), ("water", "mass"), ("mass",), ("water",), ("flame", "mass")} <= subsets
    faults = {fault.kind for one in drawn if one.channels.water is not None for fault in one.channels.water.faults}
    assert faults == {"open", "short", "out"}
    masses = [one.channels.mass for one in drawn if one.channels.mass is not None]
    assert any(mass.stuck for mass in masses)
    assert any(mass.spikes_per_h > 10.0 for mass in masses)
    assert any(one.gap for one in drawn)
    assert {hand.kind for one in drawn for hand in one.hand} == {"poke", "bump", "lean", "tool_on", "tool_off"}
    assert any(one.burn.lit_s > one.duration_s for one in drawn)
    assert any(one.plan.weighs_char for one in drawn)
