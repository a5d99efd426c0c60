import pytest

from emberline.bench.plan import PlanError, parse_plan
from emberline.bench.plan_fields import FIELDS
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.plan_values import changed, plan_values
from emberline.web.plan_form import Unreadable, problems, read, shown

TEXT = """
label = "chips, run 3"
factors = { fuel = "chips", holes = "12" }
[fuel]
mass_g = 310.0
u_mass_g = 0.2
moisture_wet = 0.11
lot = "autumn"
[pot]
tare_g = 412.0
lid = true
material = "steel"
[[refuel]]
mass_g = 50.0
"""
VALUES = plan_values(TEXT)


def test_what_a_form_shows_reads_as_the_same_plan() -> None:
    found = read(shown(VALUES), VALUES)
    assert not isinstance(found, Unreadable)
    assert plan_values(changed(TEXT, found)) == VALUES


def test_every_number_of_a_plan_has_a_field_or_is_named_here() -> None:
    elsewhere = {
        "kindling_moisture_dry",  # of the kindling, the wet basis will do
        "zero_drift_g",  # what an empty cell drifts is found by the guided burn
        "zero_drift_s",
    }
    assert set(QUANTITIES) - {field.name for field in FIELDS} == elsewhere


def test_units_and_usual_uncertainties_are_shown() -> None:
    fields = {field.key: field for field in FIELDS}
    assert (fields["fuel.mass_g"].unit, fields["fuel.mass_g"].usual_u(310.0)) == ("g", "0.5")
    assert (fields["place.ambient_c"].unit, fields["fuel.moisture_wet"].unit) == ("°C", "")
    assert fields["fuel.lhv_dry_j_g"].usual_u(18_400.0) == "3.7e+02"
    assert fields["fuel.lhv_dry_j_g"].usual_u(None) == "2 %"
    assert fields["fuel.lot"].usual_u("autumn") == ""


def test_an_emptied_field_takes_its_value_out_and_a_comma_is_a_point() -> None:
    typed = {**shown(VALUES), "fuel.u_mass_g": " ", "fuel.moisture_wet": "0,12", "factors": "holes = 14", "pot.lid": ""}
    found = read(typed, VALUES)
    assert not isinstance(found, Unreadable)
    after = plan_values(changed(TEXT, found))
    assert after["fuel.moisture_wet"] == 0.12
    assert {"fuel.u_mass_g", "factors.fuel", "pot.lid"}.isdisjoint(after)
    assert after["factors.holes"] == "14"


@pytest.mark.parametrize(
    ("key", "text"), [("fuel.mass_g", "much"), ("fuel.u_mass_g", "nan"), ("factors", "holes: 12"), ("factors", "= 3")]
)
def test_what_cannot_be_read_is_refused_beside_its_field(key: str, text: str) -> None:
    found = read({**shown(VALUES), key: text}, VALUES)
    assert isinstance(found, Unreadable)
    assert list(found.by_field) == [key]


def test_problems_of_a_plan_stand_beside_the_fields_that_they_are_about() -> None:
    with pytest.raises(PlanError) as raised:
        parse_plan(
            "[fuel]\nmass_g = 0.3\nu_moisture_wet = -1\nmoisture_wet = 11\n[pot]\nlid = 3\n[[refuel]]\nfish = 1\n"
        )
    told = problems(raised.value)
    assert "kilograms?" in told["fuel.mass_g"]
    assert "a percentage?" in told["fuel.moisture_wet"]
    assert set(told) == {"fuel.mass_g", "fuel.moisture_wet", "fuel.u_moisture_wet", "pot.lid", ""}
