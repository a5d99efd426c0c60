import pytest

from emberline.bench.errors import PlanError
from emberline.bench.plan import parse_plan
from emberline.bench.plan_fields import FIELDS, Field


def test_units_are_printed_as_people_write_them() -> None:
    units = {field.key: field.unit for field in FIELDS}
    assert (units["place.ambient_c"], units["fuel.mass_g"], units["fuel.lot"]) == ("°C", "g", "")


@pytest.mark.parametrize("field", FIELDS, ids=lambda field: field.key)
def test_every_field_is_a_key_that_a_plan_knows(field: Field) -> None:
    value = "true" if field.name == "lid" else "1" if field.is_number else '"steel"'
    table, _, name = field.key.rpartition(".")
    try:
        parse_plan(f"[{table}]\n{name} = {value}\n" if table else f"{name} = {value}\n")
        said = ""
    except PlanError as exc:
        said = str(exc)
    assert "unknown key" not in said
