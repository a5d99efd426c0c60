import numpy as np
import pytest

from emberline_sim.handling import Push, falling_in, hand_force_g, hand_weight_g, pushes_around, ramp
from emberline_sim.scenario import Scenario
from emberline_sim.specs import ChannelsSpec
from emberline_sim.trial_specs import FuelSpec, HandKind, HandSpec, PotSpec

T_S = np.arange(0.0, 100.0, 0.05)
SCENARIO = Scenario("t", "s", 1, 100.0, ChannelsSpec(), FuelSpec("chips", 100.0), pot=PotSpec(lid_g=110.0))


def test_a_push_is_smooth_and_over_when_it_is_over() -> None:
    force = Push(10.0, 2.0, 50.0).at(T_S)
    assert force.max() == pytest.approx(50.0, abs=0.1)
    assert not force[(T_S <= 10.0) | (T_S >= 12.0)].any()


def test_pushes_stay_within_the_time_of_the_hand() -> None:
    for push in pushes_around(50.0, 2.0, 3.0, 80.0, np.random.default_rng(1)):
        assert push.from_s >= 48.0
        assert push.from_s + push.for_s <= 53.1


def test_a_ramp_is_done_at_its_end() -> None:
    share = ramp(T_S, 20.0, 0.8)
    assert not share[T_S <= 19.2].any()
    assert (share[T_S >= 20.0] == 1.0).all()
    assert (np.diff(share) >= 0.0).all()


def test_a_handful_falls_piece_by_piece_around_its_middle() -> None:
    share = falling_in(T_S, 50.0, 8.0, 24, np.random.default_rng(2))
    assert share[T_S < 46.0].max() == 0.0
    assert share[T_S > 54.0].min() == pytest.approx(1.0)
    assert 0.2 < np.interp(50.0, T_S, share) < 0.8
    assert len(np.unique(share)) == 25


@pytest.mark.parametrize(
    ("kind", "size_g", "weight_g"),
    [("lid_on", 0.0, 110.0), ("lid_off", 0.0, -110.0), ("tool_on", 30.0, 30.0), ("tool_off", 30.0, -30.0),
     ("poke", -1.5, -1.5), ("bump", 0.0, 0.0), ("lean", 25.0, 0.0)],
)  # fmt: skip
def test_deeds_leave_the_weight_that_they_should(kind: HandKind, size_g: float, weight_g: float) -> None:
    hand = HandSpec(kind, 40.0, size_g, for_s=3.0)
    assert hand_weight_g(hand, SCENARIO) == weight_g
    force = hand_force_g(T_S, hand, weight_g, np.random.default_rng(3))
    assert np.abs(force[T_S < 38.5]).max() == 0.0
    assert force[T_S > 60.0] == pytest.approx(weight_g, abs=1e-3)
    assert np.abs(force[(T_S > 38.5) & (T_S < 46.0)]).max() > max(5.0, 0.9 * abs(weight_g))
