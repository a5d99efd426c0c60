from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.particles.history import Done, History
from emberline_sim.particles.scale import (
    FULL_CODE_G,
    ScaleSense,
    air_force_g,
    comes_to_rest,
    fuel_load_g,
    hand_force_g,
    jolts,
    pot_load_g,
    read_scale,
    rings,
)
from emberline_sim.particles.senses import Sampling, Spoilt
from emberline_sim.particles.setting import Deed, Setting

Make = Callable[..., tuple[Setting, History]]
IDEAL = ScaleSense(Sampling(10.0, "clock", 1e-6), 0.0, 0.0, 0.0, 0.0, (0.0, 0.0), 0.0, 0.0, 0.0, 0.0, 0.0, 5000.0, 0.0)
T_S = np.arange(0.0, 600.0, 0.1)


def chance() -> np.random.Generator:
    return np.random.default_rng(1)


def read(sense: ScaleSense, load_g: np.ndarray, heat: np.ndarray | None = None) -> np.ndarray:
    warm = np.zeros(len(T_S)) if heat is None else heat
    return read_scale(T_S, 0.0, load_g, np.zeros(len(T_S)), warm, 500.0, sense, chance())


def test_an_ideal_scale_shows_the_load() -> None:
    load_g = 800.0 + 0.1 * T_S
    assert np.allclose(read(IDEAL, load_g), load_g, atol=1e-5)
    assert np.allclose(read(replace(IDEAL, zero_g=None), load_g), load_g - 500.0, atol=1e-5)


def test_creep_ends_where_the_load_is() -> None:
    load_g = np.where(T_S < 100.0, 0.0, 1000.0)
    shown = read(replace(IDEAL, creep=(0.001, 0.0)), load_g)
    assert shown[1001] == pytest.approx(999.0, abs=0.05)
    assert shown[-1] == pytest.approx(1000.0, abs=0.05)


def test_heat_shifts_the_zero() -> None:
    shown = read(replace(IDEAL, drift_g_k=0.2, warms_k=10.0), np.zeros(len(T_S)), T_S / 600.0)
    assert shown[-1] == pytest.approx(2.0, abs=0.01)


def test_saturation_strikes_and_stretches_without_news() -> None:
    load_g = np.where(T_S < 300.0, 900.0, 6000.0)
    silent = (Spoilt("stuck", 50.0, 60.0), Spoilt("open", 100.0, 110.0))
    shown = read(replace(IDEAL, strikes_h=300.0, spoilt=silent), load_g)
    assert np.nanmedian(shown[T_S > 300.0]) == pytest.approx(FULL_CODE_G, abs=1.0)
    assert np.isnan(shown[(T_S >= 100.0) & (T_S < 110.0)]).all()
    assert len(set(shown[(T_S >= 50.0) & (T_S < 60.0)])) == 1
    assert np.nanmax(np.abs(shown[T_S < 300.0] - 900.0)) > 3.0


def test_a_weight_comes_to_rest_with_a_pause() -> None:
    share = comes_to_rest(np.array([7.0, 8.0, 8.8, 9.2, 10.0, 11.0]), 10.0, 2.0, 0.4)
    assert share[0] == share[1] == 0.0
    assert share[2] == share[3] == pytest.approx(0.4)
    assert share[4] == share[5] == 1.0


def test_jolts_and_ringing_die_away() -> None:
    force = jolts(T_S, 100.0, 110.0, 3.0, 50.0, 20.0, chance())
    assert force[T_S < 100.0].max() == 0.0
    assert np.abs(force[(T_S > 100.0) & (T_S < 110.0)]).max() > 20.0
    assert np.abs(force[T_S > 114.0]).max() == 0.0
    blow = rings(T_S, 200.0, 100.0, 3.0, 0.3)
    assert np.abs(blow).max() == pytest.approx(100.0, rel=0.2)
    assert np.abs(blow[T_S > 204.0]).max() < 1e-3


def test_the_pot_weighs_what_it_is(history: Make) -> None:
    setting, one = history("lifted")
    stay = one.stays[0]
    assert setting.vessel is not None
    assert stay.off_s is not None
    t_s = np.array([0.0, stay.on_s - 20.0, stay.on_s + 20.0, stay.off_s - 20.0, stay.off_s + 20.0])
    load = pot_load_g(t_s, one, setting.vessel.tare_g, 0.0, chance())
    assert load[:2] == pytest.approx(0.0, abs=1e-6)
    assert load[4] == pytest.approx(0.0, abs=1e-6)
    lost_g = one.at("evaporated_g", stay.off_s - 20.0) - one.at("evaporated_g", stay.on_s + 20.0)
    assert load[2] - load[3] == pytest.approx(lost_g, abs=0.1)


def test_fuel_weighs_what_is_left_of_it(history: Make) -> None:
    setting, one = history("refuelled", 2)
    added_s, added_g, _ = one.fuel_in[1]
    quiet = np.array([added_s - 30.0, one.fuel_in[-1][0] + 30.0])
    load = fuel_load_g(quiet, one, chance())
    truth = [one.at("fuel_g", t) + one.at("starter_g", t) for t in quiet]
    assert load == pytest.approx(truth, abs=0.3)
    assert added_g > 0.0
    assert setting.charge.mass_g > 0.0


@pytest.mark.parametrize("kind", ["light", "poke", "bump", "lid_on", "snuff"])
def test_hands_leave_nothing_behind(kind: str) -> None:
    done = Done(Deed(kind, 200.0, lasts_s=3.0), 200.0, 0.0)  # type: ignore[arg-type]
    force = hand_force_g(T_S, done, chance())
    assert np.abs(force).max() > 0.5
    assert np.abs(force[T_S < 195.0]).max() == 0.0
    assert np.abs(force[T_S > 215.0]).max() < 0.01


def test_a_tug_pulls_as_long_as_it_lasts() -> None:
    force = hand_force_g(T_S, Done(Deed("tug", 200.0, amount_g=8.0, lasts_s=60.0), 200.0, 0.0), chance())
    assert force[(T_S > 205.0) & (T_S < 259.0)].mean() == pytest.approx(8.0, rel=0.15)
    assert np.abs(force[T_S > 261.0]).max() == 0.0


def test_hot_gas_lifts(history: Make) -> None:
    """A litre of gas at 800 °C lifts by 0.87 g (ideal gas)."""
    _, one = history("bare", 3)
    sense = replace(IDEAL, hot_litres=1.0)
    force = air_force_g(one.t_s, one, sense, chance())
    flaming = one.column["flame_w"] > 0.7 * one.column["flame_w"].max()
    assert -0.95 < force[flaming].mean() < -0.5
    assert force[5] == pytest.approx(0.0, abs=0.01)


def test_wind_pushes_with_its_square(history: Make) -> None:
    _, one = history("blustery")
    calm = one.column["wind_m_s"] < np.median(one.column["wind_m_s"])
    force = air_force_g(one.t_s, one, replace(IDEAL, wind_g=1.0), chance())
    assert np.std(force[~calm]) > 1.5 * np.std(force[calm])
