import numpy as np
import pytest
from emberline_sim.recording import record
from emberline_sim.scenario import load_scenario, scenario_names


@pytest.mark.parametrize("name", scenario_names())
def test_a_packaged_scenario_runs_and_its_channels_are_sane(name: str) -> None:
    recording = record(load_scenario(name))
    assert recording.scenario.name == name
    assert recording.channels
    for channel in recording.channels.values():
        assert channel.t_s.shape == channel.value.shape
        assert np.all(np.diff(channel.t_s) > 0.0)
        assert 0.0 <= channel.t_s[0]
        assert channel.t_s[-1] <= recording.scenario.duration_s
        assert np.isfinite(channel.value).mean() > 0.5
    times = [event.t_s for event in recording.truth.events]
    assert times == sorted(times)


def test_the_same_seed_gives_the_same_recording() -> None:
    one, two = (record(load_scenario("pellets_pot_lifted", seed=5)) for _ in range(2))
    other = record(load_scenario("pellets_pot_lifted", seed=6))
    np.testing.assert_array_equal(one.channels["mass"].value, two.channels["mass"].value)
    assert one.truth.events == two.truth.events
    assert one.truth.time_of("flameout") != other.truth.time_of("flameout")
