from dataclasses import replace

import pytest

from emberline.bench.channels import Role, default_channel
from emberline.trials.alarms.alarm import Danger, Safe, Verdict
from emberline.trials.alarms.cell_heat import CellHeat
from unit.trials.alarms.looked_at import look

CHANNELS = {role: default_channel(role) for role in (Role.MASS, Role.CELL_TEMPERATURE)}


def told(values: list[float], hottest_c: float = 60.0) -> Verdict:
    return CellHeat(hottest_c).look(look({Role.CELL_TEMPERATURE: values}, channels=CHANNELS))


@pytest.mark.parametrize(("cell_c", "kind"), [(54.0, Safe), (57.0, type(None)), (61.0, Danger)])
def test_a_hot_cell_is_told_and_cleared_once_it_has_cooled(cell_c: float, kind: type) -> None:
    assert isinstance(told([cell_c] * 20), kind)


def test_the_limit_is_the_benchs_own() -> None:
    assert isinstance(told([47.0] * 20, hottest_c=45.0), Danger)


def test_a_reading_that_leaps_is_no_heat() -> None:
    assert isinstance(told([30.0] * 18 + [90.0] * 2), Safe)


def test_without_readings_nothing_is_said() -> None:
    assert told([float("nan")] * 20) is None
    bare = look({Role.MASS: [700.0] * 20})
    assert CellHeat(60.0).look(bare) is None
    assert CellHeat(60.0).look(replace(bare, channels=CHANNELS)) is None
