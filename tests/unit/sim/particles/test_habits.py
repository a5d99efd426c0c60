from itertools import pairwise

import numpy as np
import pytest

from emberline_sim.particles.drawing import draw_stove, draw_vessel
from emberline_sim.particles.habits import HANDS_APART_S, Plot, draw_plot
from emberline_sim.particles.kinds import KINDS


def plot(name: str, seed: int = 1) -> Plot:
    kind, rng = KINDS[name], np.random.default_rng(seed)
    stove = draw_stove(kind, rng)
    vessel = None if kind.pot == "none" else draw_vessel(kind, stove, rng)
    return draw_plot(kind, stove, vessel, 18.0, rng)


def kinds_of(one: Plot) -> list[str]:
    return [deed.kind for deed in one.deeds]


def test_habits_with_the_pot() -> None:
    assert "pot_on" not in kinds_of(plot("bare"))
    assert kinds_of(plot("filled_twice")).count("pot_on") == 2
    looked = [deed for deed in plot("looked_at").deeds if deed.kind == "pot_on"]
    assert looked[1].water_g == 0.0
    assert looked[1].delay_s <= 25.0
    for seed in range(10):
        first = {d.kind: d.at_s for d in reversed(plot("stands_first", seed).deeds)}
        lit_s, on_s = first["light"], first["pot_on"]
        assert on_s is not None
        assert lit_s is not None
        assert on_s < lit_s


def test_refuels_come_in_portions() -> None:
    portions = [d.portions for seed in range(12) for d in plot("refuelled", seed).deeds if d.kind == "refuel"]
    assert len(portions) >= 12
    assert {len(one) for one in portions} >= {1, 2, 3}
    assert all(one[0][0] == 0.0 and all(b[0] > a[0] for a, b in pairwise(one)) for one in portions)


def test_spoons_are_smaller_than_refuels() -> None:
    def mean_g(name: str) -> float:
        masses = [sum(g for _, g in d.portions) for s in range(12) for d in plot(name, s).deeds if d.kind == "refuel"]
        return float(np.mean(masses))

    assert mean_g("spoonfed") < 0.5 * mean_g("refuelled")


@pytest.mark.parametrize(("name", "deed"), [("dies", "smother"), ("relit", "relight"), ("catches_late", "relight")])
def test_courses(name: str, deed: str) -> None:
    assert deed in kinds_of(plot(name))


def test_a_burn_that_is_never_lit_and_one_that_is_recorded_late() -> None:
    assert "light" not in kinds_of(plot("never_lit"))
    assert plot("begun_late").begins_s > 0.0
    assert plot("lifted").begins_s == 0.0


def test_a_clumsy_hand_does_one_thing_at_a_time() -> None:
    for seed in range(10):
        deeds = plot("clumsy", seed).deeds
        mishaps = sorted(d.at_s for d in deeds if d.kind in ("poke", "bump", "tug") and d.at_s is not None)
        assert all(b - a > HANDS_APART_S for a, b in pairwise(mishaps))
