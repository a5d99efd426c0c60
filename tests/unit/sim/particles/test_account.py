from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.particles.account import flames_of, truth_of
from emberline_sim.particles.history import STEP_S, History
from emberline_sim.particles.setting import Setting
from emberline_sim.truth import Truth

Make = Callable[..., tuple[Setting, History]]


def flames(*stretches: tuple[float, float]) -> tuple[float | None, tuple[tuple[float, float], ...]]:
    t_s = np.arange(STEP_S, 1000.0 + STEP_S, STEP_S)
    burns = np.zeros(len(t_s), dtype=bool)
    for from_s, to_s in stretches:
        burns |= (t_s > from_s) & (t_s <= to_s)
    found = flames_of(t_s, burns)
    return found.out_s, found.dark


def test_a_flame_ends_when_it_is_away_for_more_than_ten_seconds() -> None:
    """ISO 5660-1 calls flaming sustained that lasts for over 10 s (from memory)."""
    assert flames((100.0, 500.0)) == (500.0, ())
    assert flames((100.0, 300.0), (308.0, 500.0)) == (500.0, ())
    out_s, dark = flames((100.0, 300.0), (340.0, 500.0))
    assert out_s == 500.0
    assert dark == ((300.0, 340.0),)
    # A last lick of flame is no return.
    assert flames((100.0, 500.0), (520.0, 525.0)) == (500.0, ())


def test_no_flame_and_a_flame_to_the_end_have_no_flameout() -> None:
    assert flames() == (None, ())
    assert flames((100.0, 1000.0)) == (None, ())
    assert flames((100.0, 995.0)) == (None, ())


def account(setting: Setting, one: History, ends_s: float | None = None) -> Truth:
    found = flames_of(one.t_s, one.column["flame"] > 0.5)
    return truth_of(setting, one, found, float(np.floor(one.t_s[-1])) if ends_s is None else ends_s)


@pytest.mark.parametrize("kind", ["lifted", "bare", "refuelled", "filled_twice"])
def test_masses_and_heats_agree_with_each_other(history: Make, kind: str) -> None:
    setting, one = history(kind)
    truth = account(setting, one)
    out_s, nature = truth.time_of("flameout"), setting.nature
    assert out_s is not None
    assert one.lit_s is not None
    assert truth.fuel_mass_lost_g is not None
    assert truth.fuel_left_g is not None
    assert truth.char_left_g is not None
    assert truth.unburnt_g is not None
    assert truth.heat_released_j is not None
    put_in_g = sum(mass_g for t_s, mass_g, _ in one.fuel_in if t_s <= out_s)
    assert truth.fuel_mass_lost_g + truth.fuel_left_g == pytest.approx(put_in_g)
    assert truth.char_left_g + truth.unburnt_g == pytest.approx(truth.fuel_left_g)
    # The curve of the burning rate holds the same mass, pokes apart.
    curves = truth.curves
    inside = (curves.t_s >= one.lit_s) & (curves.t_s <= out_s)
    integral_g = float(np.sum(curves.burning_rate_g_min[inside])) / 60.0
    starter_g = setting.starter_g - one.at("starter_g", out_s)
    spilt_g = -sum(done.size_g for done in one.done if done.deed.kind == "poke")
    assert integral_g == pytest.approx(truth.fuel_mass_lost_g + starter_g - spilt_g, abs=0.5)
    # Heat released: the fuel's heating value less what is left, which is something between wood and char.
    dry_g = sum(dry for t_s, _, dry in one.fuel_in if t_s <= out_s)
    fuel_j = dry_g * nature.lhv_dry_j_g - 2443.0 * (put_in_g - dry_g) + starter_g * setting.starter_lhv_j_g
    raw_dry_g = one.at("raw_dry_g", out_s)
    fuel_j -= raw_dry_g * nature.lhv_dry_j_g - 2443.0 * (truth.unburnt_g - raw_dry_g)
    left_j = fuel_j - truth.heat_released_j
    assert 0.9 * nature.lhv_dry_j_g < left_j / truth.char_left_g < nature.char_lhv_j_g


def test_water_and_heat_of_a_stay(history: Make) -> None:
    setting, one = history("lifted")
    truth = account(setting, one)
    (stay,) = truth.stays
    assert stay.pot_off_s is not None
    lost_g = stay.water_start_g - one.at("water_g", stay.pot_off_s)
    assert stay.water_evaporated_g == pytest.approx(lost_g, abs=0.01)
    off = next(event for event in truth.events if event.kind == "pot_off")
    on = next(event for event in truth.events if event.kind == "pot_on")
    assert on.size_g is not None
    assert off.size_g is not None
    lids_g = sum(e.size_g or 0.0 for e in truth.of_kind("step") if e.note.startswith("lid") and e.t_s < off.t_s)
    assert on.size_g + off.size_g + lids_g == pytest.approx(lost_g, abs=0.01)
    least_j = stay.water_start_g * 4.186 * 60.0
    assert stay.heat_into_water_j > least_j
    assert 0.1 < stay.heat_into_water_j / stay.heat_released_j < 0.6


def test_a_record_that_begins_late_knows_nothing_of_what_was_before(history: Make) -> None:
    setting, one = history("begun_late")
    truth = account(setting, one)
    assert setting.begins_s > 0.0
    assert truth.time_of("lit") is None
    assert truth.fuel_mass_lost_g is None
    assert truth.char_left_g is not None
    whole = account(replace(setting, begins_s=0.0), one)
    out_s, there_s = whole.time_of("flameout"), truth.time_of("flameout")
    assert out_s is not None
    assert there_s == pytest.approx(out_s - setting.begins_s)
    assert truth.curves.fuel_g[0] == whole.curves.fuel_g[round(setting.begins_s)]
    assert all(event.t_s >= 0.0 for event in truth.events)


def test_a_record_that_ends_early_has_no_flameout(history: Make) -> None:
    setting, one = history("lifted")
    out_s = account(setting, one).time_of("flameout")
    assert out_s is not None
    truth = account(setting, one, float(int(out_s - 60.0)))
    assert truth.time_of("flameout") is None
    assert truth.fuel_burned_g is None


def test_a_fire_never_lit_has_no_sums(history: Make) -> None:
    truth = account(*history("never_lit"))
    assert truth.time_of("lit") is None
    assert truth.heat_released_j is None
    assert truth.of_kind("flameout") == ()


def test_truth_is_json(history: Make) -> None:
    assert '"events"' in account(*history("lifted")).to_json()
