import json
import tomllib
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.device.wiring import wire
from emberline_sim.files import plan_text
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import load_scenario, scenario_names

Recordings = Callable[[str], Recording]


@pytest.mark.parametrize("name", scenario_names())
def test_a_packaged_scenario_runs_and_its_channels_are_sane(recording: Recordings, name: str) -> None:
    one = recording(name)
    assert one.scenario.name == name
    assert one.channels
    for role, channel in one.channels.items():
        assert channel.role == role
        assert channel.t_s.shape == channel.value.shape
        assert np.all(np.diff(channel.t_s) > 0.0)
        assert channel.t_s[0] >= 0.0
        assert channel.t_s[-1] <= one.scenario.duration_s
        assert np.isfinite(channel.value).mean() > 0.95
    times = [event.t_s for event in one.truth.events]
    assert times == sorted(times)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("name", ["pellets_pot_lifted", "chips_two_refuels", "two_cells", "high_altitude"])
def test_a_record_may_end_before_anything_happens(name: str) -> None:
    whole = load_scenario(name)
    for duration_s in (0.2, 1.0, 40.0, 130.0):
        one = record(replace(whole, duration_s=duration_s))
        assert [event for event in one.truth.events if event.t_s > duration_s] == []
        assert (one.truth.time_of("lit") is None) == (duration_s <= whole.burn.lit_s)
        assert [stay for stay in one.truth.stays if stay.pot_on_s > duration_s] == []
        plan = tomllib.loads(plan_text(one))
        assert len(plan.get("refuel", [])) == len(one.truth.of_kind("refuel"))
        assert json.loads(one.truth.to_json())["water_evaporated_g"] >= 0.0
        converters, blocks = wire(one)
        taken = Counter(name for block in blocks for name in [block.channel] * len(block))
        assert all(taken[name] == len(channel.t_s) for name, channel in one.channels.items())
        assert len(converters) >= len(one.channels)


def test_the_same_seed_gives_the_same_recording() -> None:
    one, two = (record(load_scenario("mass_only", seed=5)) for _ in range(2))
    other = record(load_scenario("mass_only", seed=6))
    np.testing.assert_array_equal(one.channels["mass"].value, two.channels["mass"].value)
    assert one.truth.events == two.truth.events
    assert one.truth.time_of("flameout") != other.truth.time_of("flameout")


def test_the_scale_sees_stove_fuel_and_pot(recording: Recordings) -> None:
    one = recording("pellets_pot_lifted")
    mass = one.channels["mass"]
    level = {t: np.median(mass.value[np.abs(mass.t_s - t) < 2.0]) for t in (30.0, 300.0, 3500.0)}
    curves = one.truth.curves
    fuel = {t: float(np.interp(t, curves.t_s, curves.fuel_g)) for t in level}
    water_g = float(np.interp(300.0, curves.t_s, curves.water_g))
    assert level[30.0] == pytest.approx(640.0 + 4.0 + fuel[30.0], abs=1.0)
    assert level[300.0] == pytest.approx(640.0 + fuel[300.0] + 312.0 + water_g, abs=2.0)
    assert level[3500.0] == pytest.approx(640.0 + fuel[3500.0], abs=2.0)


def test_a_second_cell_takes_the_pot_off_the_first(recording: Recordings) -> None:
    one = recording("two_cells")
    stove, pot = one.channels["mass"], one.channels["pot_mass"]
    at = 600.0
    assert np.median(pot.value[np.abs(pot.t_s - at) < 2.0]) > 1300.0
    assert np.median(stove.value[np.abs(stove.t_s - at) < 2.0]) < 900.0


def test_a_gap_is_empty(recording: Recordings) -> None:
    for channel in recording("coarse_logger").channels.values():
        assert not ((channel.t_s >= 996.0) & (channel.t_s < 1043.0)).any()


def test_pressure_and_cell_temperature_are_read(recording: Recordings) -> None:
    pressure = recording("high_altitude").channels["pressure"]
    assert pressure.unit == "pa"
    assert np.median(pressure.value) == pytest.approx(72226.0, abs=60.0)
    cell = recording("damp_and_drifting").channels["cell_temperature"].value
    assert cell.max() - cell[0] > 5.0
