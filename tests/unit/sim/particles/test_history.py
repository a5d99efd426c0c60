from collections.abc import Callable

import numpy as np

from emberline_sim.particles.history import COLUMNS, STEP_S, History
from emberline_sim.particles.setting import Setting

Make = Callable[..., tuple[Setting, History]]


def test_a_column_is_read_at_the_end_of_its_step(history: Make) -> None:
    _, one = history("lifted")
    assert set(one.column) == set(COLUMNS)
    assert one.at("fuel_g", 100.0) == one.column["fuel_g"][round(100.0 / STEP_S) - 1]
    assert one.at("fuel_g", 0.0) == one.column["fuel_g"][0]
    assert one.at("fuel_g", 1e9) == one.column["fuel_g"][-1]


def test_times_are_those_of_the_ends_of_the_steps(history: Make) -> None:
    _, one = history("lifted")
    assert one.t_s[0] == STEP_S
    assert np.allclose(np.diff(one.t_s), STEP_S)
