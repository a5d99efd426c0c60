import math
from dataclasses import replace

import pytest

from emberline.bench.calibration import SATURATED_24_BIT, Linear
from emberline.bench.channels import Channel, Role, default_channel
from emberline.trials.alarms.alarm import Danger, Safe
from emberline.trials.alarms.cell_limit import CellLimit
from unit.trials.alarms.looked_at import CHANNELS, all_clear, dangers, level, look, verdicts

CELL = replace(default_channel(Role.MASS), capacity_g=2_000.0)


def told(values: list[float], cell: Channel = CELL, beyond: float = 0.0) -> object:
    return CellLimit().look(look({Role.MASS: values}, channels={Role.MASS: cell}, beyond={Role.MASS: beyond}))


@pytest.mark.parametrize(("load_g", "danger"), [(1_650.0, False), (1_850.0, True), (2_400.0, True), (-1_850.0, True)])
def test_a_load_near_what_the_cell_carries(load_g: float, danger: bool) -> None:
    assert isinstance(told([load_g] * 20), Danger if danger else Safe)


def test_between_the_two_limits_it_stays_as_it_was() -> None:
    assert told([1_750.0] * 20) is None


def test_a_hand_that_presses_is_no_load() -> None:
    assert not isinstance(told([1_600.0] * 20 + [1_950.0] * 3), Danger)


def test_it_is_raised_once_and_cleared_when_load_was_taken_off() -> None:
    curve = level((60, 1_500.0), (60, 1_900.0), (60, 1_760.0), (60, 1_200.0), loss_g_s=0.0)
    said = verdicts(CellLimit(), look({Role.MASS: curve}, channels={Role.MASS: CELL}))
    assert dangers(said) == [pytest.approx(65, abs=1)]
    assert all_clear(said, 65) == pytest.approx(185, abs=5)


def test_without_a_capacity_only_the_converter_limits() -> None:
    assert isinstance(told([9_000.0] * 20, CHANNELS[Role.MASS]), Safe)


# The largest code of a signed 24-bit converter is 2**23 - 1.
@pytest.mark.parametrize(("share", "danger"), [(0.80, False), (0.96, True), (-0.97, True)])
def test_counts_near_the_converters_end(share: float, danger: bool) -> None:
    line = Linear(84_000.0, 420.0)
    cell = replace(default_channel(Role.MASS), calibration=line)
    load_g = (share * (2**23 - 1) - 84_000.0) / 420.0
    assert isinstance(told([load_g] * 20, cell), Danger if danger else Safe)
    assert line.saturated_counts == SATURATED_24_BIT


def test_a_converter_at_its_end_gives_no_value_and_is_told_all_the_same() -> None:
    verdict = told([1_000.0] * 20 + [math.nan] * 6, beyond=1.0)
    assert isinstance(verdict, Danger)
    assert "end of its range" in verdict.text
    assert told([1_000.0] * 20 + [math.nan] * 6) is None


def test_each_cell_is_watched() -> None:
    channels = {Role.MASS: CELL, Role.POT_MASS: replace(default_channel(Role.POT_MASS), capacity_g=1_000.0)}
    verdict = CellLimit().look(look({Role.MASS: [500.0] * 9, Role.POT_MASS: [980.0] * 9}, channels=channels))
    assert isinstance(verdict, Danger)
    assert verdict.text == "980 g are on pot_mass, a cell that carries 1,000 g in all."
