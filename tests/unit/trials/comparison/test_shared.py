"""What burns share: it cancels where both sides have it, and adds where they do not."""

import math

import pytest

from emberline.trials.comparison.measured import Measured
from emberline.trials.comparison.shared import u_of_difference, u_of_mean


def burn(parts: dict[str, float], lot: str | None = "beech-1", bench: str = "yard") -> Measured:
    return Measured("t", 100.0, 0.0, parts, bench, lot)


HEAT = {"fuel.lhv_dry_j_g": -2.0}


def test_the_heating_value_of_one_lot_cancels_between_designs() -> None:
    assert u_of_difference([burn(HEAT)] * 3, [burn(HEAT)] * 2) == 0.0


def test_it_does_not_cancel_between_two_lots() -> None:
    assert u_of_difference([burn(HEAT)], [burn(HEAT, "pine-4")]) == pytest.approx(math.hypot(2.0, 2.0))


def test_what_is_left_of_it_is_the_difference_of_its_contributions() -> None:
    assert u_of_difference([burn(HEAT)], [burn({"fuel.lhv_dry_j_g": -3.0})]) == pytest.approx(1.0)
    assert u_of_difference([burn(HEAT)], [burn({"fuel.lhv_dry_j_g": 2.0})]) == pytest.approx(4.0)


def test_fuel_without_a_lot_is_not_taken_for_the_same() -> None:
    assert u_of_difference([burn(HEAT, None)], [burn(HEAT, None)]) == pytest.approx(math.hypot(2.0, 2.0))


def test_a_group_of_two_lots_has_half_of_each() -> None:
    assert u_of_mean([burn(HEAT), burn(HEAT, "pine-4")]) == pytest.approx(math.hypot(1.0, 1.0))
    assert u_of_difference([burn(HEAT), burn(HEAT, "pine-4")], [burn(HEAT)]) == pytest.approx(math.hypot(1.0, 1.0))


def test_the_mean_of_many_burns_keeps_it() -> None:
    assert u_of_mean([burn(HEAT)] * 25) == pytest.approx(2.0)


def test_sensors_cancel_on_one_bench_and_not_between_two() -> None:
    span = {"load_cell_span": 0.5}
    assert u_of_difference([burn(span)], [burn(span)]) == 0.0
    assert u_of_difference([burn(span)], [burn(span, bench="shed")]) == pytest.approx(math.hypot(0.5, 0.5))


def test_what_each_burn_draws_anew_is_left_to_the_scatter() -> None:
    assert u_of_mean([burn({"lit": 3.0, "fuel.moisture_wet": 1.0, "flameout": 7.0})]) == 0.0


def test_starter_fluid_is_the_same_everywhere() -> None:
    starter = {"fuel.starter_lhv_j_g": 0.7}
    assert u_of_difference([burn(starter, "a", "yard")], [burn(starter, "b", "shed")]) == 0.0
