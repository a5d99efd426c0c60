from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.particles.history import History
from emberline_sim.particles.running import run
from emberline_sim.particles.setting import Setting

Make = Callable[..., tuple[Setting, History]]


@pytest.mark.parametrize("kind", ["lifted", "refuelled", "relit"])
def test_mass_closes_over_the_whole_burn(history: Make, kind: str) -> None:
    _, one = history(kind)
    column = one.column
    flows_g = float(np.sum(column["volatiles_g_s"] + column["glow_g_s"])) * 0.5
    put_in_g = sum(mass_g for _, mass_g, _ in one.fuel_in)
    spilt_g = -sum(done.size_g for done in one.done if done.deed.kind == "poke")
    assert flows_g + spilt_g + column["fuel_g"][-1] == pytest.approx(put_in_g, abs=1e-6)


def test_deeds_are_done_in_order_and_once(history: Make) -> None:
    setting, one = history("filled_twice", 1)
    with_pot = [done.deed.kind for done in one.done if done.deed.kind in ("pot_on", "pot_off")]
    assert with_pot[:3] == ["pot_on", "pot_off", "pot_on"]
    assert len(one.done) <= len(setting.deeds)


def test_a_pot_that_is_looked_at_keeps_its_water(history: Make) -> None:
    _, one = history("looked_at")
    first, second = one.stays[:2]
    assert first.off_s is not None
    assert second.water_g == pytest.approx(one.at("water_g", first.off_s), abs=3.0)


def test_nobody_smothers_a_fire_that_is_to_be_lit_again(history: Make) -> None:
    for seed in range(1, 3):
        _, one = history("catches_late", seed)
        kinds = [done.deed.kind for done in one.done]
        if "snuff" in kinds:
            assert kinds.index("snuff") > kinds.index("relight")


def test_a_fire_never_lit_ends_by_the_clock(history: Make) -> None:
    setting, one = history("never_lit")
    assert one.lit_s is None
    assert one.t_s[-1] == pytest.approx(setting.most_s, abs=1.0)
    assert one.column["released_j"][-1] < 1.0


def test_the_same_setting_gives_the_same_course(history: Make) -> None:
    setting, one = history("cut_short")
    again = run(setting)
    assert all((again.column[name] == one.column[name]).all() for name in one.column)
    other = run(replace(setting, seed=setting.seed + 1))
    assert len(other.t_s) != len(one.t_s) or (other.column["fuel_g"] != one.column["fuel_g"]).any()
