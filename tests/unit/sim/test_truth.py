import json
from collections.abc import Callable

import numpy as np
import pytest

from emberline_sim.recording import Recording
from emberline_sim.scenario import load_scenario

Recordings = Callable[[str], Recording]


def test_masses_add_up(recording: Recordings) -> None:
    scenario, truth = load_scenario("hardwood_refuelled"), recording("hardwood_refuelled").truth
    assert scenario.fuel is not None
    put_in_g = scenario.fuel.mass_g + sum(refuel.mass_g for refuel in scenario.refuel)
    assert truth.fuel_mass_lost_g is not None
    assert truth.fuel_left_g is not None
    assert truth.char_left_g is not None
    assert truth.unburnt_g is not None
    assert truth.fuel_mass_lost_g + truth.fuel_left_g == pytest.approx(put_in_g)
    assert truth.char_left_g + truth.unburnt_g == pytest.approx(truth.fuel_left_g)
    assert truth.fuel_burned_g == pytest.approx(put_in_g - truth.unburnt_g)
    dry_g = 225.0 * 0.88 + 118.0 * 0.87
    assert truth.char_yield == pytest.approx(truth.char_left_g / dry_g, rel=0.01)


def test_energies_add_up(recording: Recordings) -> None:
    scenario, truth = load_scenario("no_pot"), recording("no_pot").truth
    fuel = scenario.fuel
    assert fuel is not None
    assert truth.char_left_g is not None
    assert truth.unburnt_g is not None
    as_fired_j_g = (1 - fuel.moisture_wet) * fuel.lhv_dry_j_g - 2443.0 * fuel.moisture_wet
    expected_j = (fuel.mass_g - truth.unburnt_g) * as_fired_j_g - truth.char_left_g * fuel.char_lhv_j_g
    # What is left holds a little of the volatiles still: within one percent.
    assert truth.heat_released_j == pytest.approx(expected_j + fuel.starter_g * fuel.starter_lhv_j_g, rel=0.01)


def test_means_and_curves_agree_with_the_totals(recording: Recordings) -> None:
    truth = recording("pellets_pot_lifted").truth
    lit_s, out_s = truth.time_of("lit"), truth.time_of("flameout")
    assert lit_s is not None
    assert out_s is not None
    assert truth.heat_released_j is not None
    curves = truth.curves
    inside = (curves.t_s >= lit_s) & (curves.t_s < out_s)
    assert curves.firepower_w[inside].sum() == pytest.approx(truth.heat_released_j, rel=2e-3)
    assert curves.firepower_w[inside].mean() == pytest.approx(truth.firepower_mean_w, rel=2e-3)
    assert curves.burning_rate_g_min[inside].mean() == pytest.approx(truth.burning_rate_mean_g_min, rel=2e-3)
    assert np.diff(curves.t_s) == pytest.approx(1.0)


def test_a_visit_is_a_window_of_its_own(recording: Recordings) -> None:
    truth = recording("fresh_water_twice").truth
    first, second = truth.stays
    assert first.pot_off_s is not None
    assert first.boil_s is not None
    assert first.pot_on_s < first.boil_s < first.pot_off_s < second.pot_on_s
    assert truth.water_evaporated_g == pytest.approx(first.water_evaporated_g + second.water_evaporated_g)
    assert truth.heat_into_water_j == pytest.approx(first.heat_into_water_j + second.heat_into_water_j)
    for stay in truth.stays:
        sensible_j = 4.186 * stay.water_start_g * 80.0
        assert stay.heat_into_water_j == pytest.approx(sensible_j + 2270.0 * stay.water_evaporated_g, rel=0.1)
        assert 0.2 < stay.heat_into_water_j / stay.heat_released_j < 0.45


def test_pot_sizes_are_signed_and_differ_by_the_steam(recording: Recordings) -> None:
    truth = recording("pellets_pot_lifted").truth
    (on,), (off,) = truth.of_kind("pot_on"), truth.of_kind("pot_off")
    assert on.size_g is not None
    assert off.size_g is not None
    assert on.size_g > 0.0 > off.size_g
    assert on.size_g + off.size_g == pytest.approx(truth.water_evaporated_g, abs=0.2)


def test_a_pot_on_a_cell_of_its_own_is_no_change_of_load(recording: Recordings) -> None:
    assert recording("two_cells").truth.of_kind("pot_on")[0].size_g is None


def test_relighting_leaves_a_dark_stretch_and_one_flameout(recording: Recordings) -> None:
    truth = recording("relit").truth
    assert len(truth.of_kind("flameout")) == 1
    assert len(truth.of_kind("lit")) == 1
    ((out_s, back_s),) = truth.dark
    assert 100.0 < back_s - out_s < 600.0
    flameout_s = truth.time_of("flameout")
    assert flameout_s is not None
    assert flameout_s > back_s


def test_an_early_end_leaves_raw_fuel(recording: Recordings) -> None:
    truth = recording("flame_dies_early").truth
    assert truth.unburnt_g is not None
    assert truth.unburnt_g > 70.0
    assert truth.time_of("boil") is None


def test_a_boil_that_no_probe_sees_says_so(recording: Recordings) -> None:
    (blind,) = recording("probe_left_out").truth.of_kind("boil")
    (seen,) = recording("probe_falls_out").truth.of_kind("boil")
    assert "no working probe" in blind.note
    assert "no working probe" not in seen.note


def test_without_fuel_there_is_no_burn_to_tell_of(recording: Recordings) -> None:
    truth = recording("water_only").truth
    assert truth.fuel_burned_g is None
    assert truth.time_of("lit") is None
    assert truth.time_of("boil") is not None


def test_json_holds_everything(recording: Recordings) -> None:
    truth = recording("relit").truth
    tree = json.loads(truth.to_json())
    assert tree["events"][0]["kind"] == "lit"
    assert tree["char_left_g"] == truth.char_left_g
    assert len(tree["curves"]["fuel_g"]) == len(truth.curves.t_s)
    assert tree["stays"][0]["boil_s"] == truth.stays[0].boil_s
