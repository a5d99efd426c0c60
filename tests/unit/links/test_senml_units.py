"""Units of SenML and what they become."""

import pytest

from emberline.bench.channels import UNITS
from emberline.links.senml_units import CONVERSIONS, conversion


@pytest.mark.parametrize(
    ("unit", "number", "ours", "value"),
    [
        ("Cel", 23.1, "c", 23.1),
        ("K", 373.15, "c", 100.0),  # 273.15 K is 0 degrees Celsius (SI brochure, 9th edition, section 2.3.1)
        ("kg", 0.3125, "g", 312.5),
        ("hPa", 1013.25, "pa", 101_325.0),  # the standard atmosphere (ISO 2533)
        ("/", 35e-6, "ppm", 35.0),
        ("/100", 0.0035, "ppm", 35.0),
        ("V", 1.5, "V", 1.5),
        ("", 84_213.0, "", 84_213.0),
    ],
)
def test_a_number_becomes_one_in_the_unit_of_a_bench(unit: str, number: float, ours: str, value: float) -> None:
    found = conversion(unit)
    assert found.unit == ours
    assert found.apply(number) == pytest.approx(value)


def test_every_unit_of_a_bench_can_be_sent() -> None:
    assert {one.unit for one in CONVERSIONS.values()} == set(UNITS.values())
