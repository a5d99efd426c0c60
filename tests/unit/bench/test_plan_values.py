"""The text of a plan taken apart and put together again."""

import pytest

from emberline.bench.errors import PlanError
from emberline.bench.plan import parse_plan
from emberline.bench.plan_values import changed, plan_values, text_of

TEXT = """\
label = "chips, run 3"   # a remark
factors = { fuel = "chips", "air.holes" = "12" }
[fuel]
mass_g = 310
u_mass_g = 0.2
[pot]
tare_g = 412.0
lid = true
[[pot.visit]]
water_g = 500.0
[[refuel]]
mass_g = 40.5
lot = "pellets"
"""


def test_values_are_named_by_their_key_and_table() -> None:
    assert plan_values(TEXT) == {
        "label": "chips, run 3",
        "factors.fuel": "chips",
        "factors.air.holes": "12",
        "fuel.mass_g": 310,
        "fuel.u_mass_g": 0.2,
        "pot.tare_g": 412.0,
        "pot.lid": True,
        "pot.visit": [{"water_g": 500.0}],
        "refuel": [{"mass_g": 40.5, "lot": "pellets"}],
    }
    assert plan_values("") == {}


def test_the_text_made_of_values_has_the_same_values() -> None:
    values = plan_values(TEXT)
    assert plan_values(text_of(values)) == values
    assert text_of({}) == ""


def test_values_are_set_and_taken_out() -> None:
    text = changed(TEXT, {"fuel.char_left_g": 61.5, "fuel.u_mass_g": None, "refuel": None, "place.altitude_m": 240.0})
    plan = parse_plan(text)
    assert plan.fuel.char_left_g is not None
    assert plan.fuel.char_left_g.nominal_value == 61.5
    assert plan.refuels == ()
    assert plan.place.altitude_m is not None
    assert "u_mass_g" not in text


def test_a_value_that_cannot_be_is_refused_with_its_hint() -> None:
    with pytest.raises(PlanError, match="percentage"):
        changed(TEXT, {"fuel.moisture_wet": 11.0})
    with pytest.raises(PlanError):
        plan_values("label = ")
