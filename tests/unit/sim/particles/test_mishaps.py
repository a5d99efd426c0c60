import numpy as np
import pytest

from emberline_sim.particles import KINDS, Mishaps, random_burn
from emberline_sim.particles.mishaps import NONE


def test_where_nothing_goes_wrong_a_burn_is_as_it_was_drawn() -> None:
    drawn, same = random_burn(7, "bare"), random_burn(7, "bare", NONE)
    assert all(np.array_equal(drawn.channels[n].value, same.channels[n].value) for n in drawn.channels)
    assert "bare" in KINDS


def test_a_tip_leaves_on_the_cell_what_is_said_from_then_on() -> None:
    drawn = random_burn(7, "bare").channels["mass"]
    left, more = (random_burn(7, "bare", Mishaps(tips_s=300.0, left_g=g)).channels["mass"] for g in (25.0, 75.0))
    assert np.array_equal(drawn.value[drawn.t_s < 300.0], left.value[drawn.t_s < 300.0])
    after = drawn.t_s > 301.0
    assert np.median(drawn.value[after] - left.value[after]) > 50.0
    assert np.median(more.value[after] - left.value[after]) == pytest.approx(50.0, abs=2.0)


def test_a_probe_that_falls_out_is_out_for_so_long() -> None:
    drawn, burn = random_burn(3, "kept"), random_burn(3, "kept", Mishaps(probe_out_s=(700.0, 800.0)))
    before, after = drawn.channels["water"], burn.channels["water"]
    changed = np.abs(before.value - after.value) > 5.0
    assert changed.any()
    assert 700.0 <= before.t_s[changed].min() <= 730.0
    assert before.t_s[changed].max() < 900.0


def test_a_pot_with_this_much_water() -> None:
    assert random_burn(3, "kept", Mishaps(water_g=180.0)).truth.stays[0].water_start_g == pytest.approx(180.0, abs=1.0)
