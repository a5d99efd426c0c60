import pytest
from uncertainties import ufloat

from emberline.heat.result import Result


def test_interval_is_that_of_a_normal_distribution() -> None:
    assert Result(ufloat(100.0, 10.0), "g").interval_95 == pytest.approx((80.40036, 119.59964))


def test_budget_gives_signed_contributions_in_a_fixed_order() -> None:
    fuel, time = ufloat(300.0, 3.0, tag="fuel"), ufloat(600.0, 12.0, tag="burn")
    result = Result(fuel / time, "g/s")
    assert list(result.budget) == ["burn", "fuel"]
    assert result.budget["fuel"] == pytest.approx(3.0 / 600.0)
    assert result.budget["burn"] == pytest.approx(-300.0 * 12.0 / 600.0**2)
    assert sum(part**2 for part in result.budget.values()) == pytest.approx(result.value.std_dev**2)


def test_inputs_of_one_tag_are_one_line() -> None:
    a, b = ufloat(10.0, 3.0, tag="noise"), ufloat(20.0, 4.0, tag="noise")
    assert Result(a + b, "g").budget == pytest.approx({"noise": 5.0})
    assert Result(a - b, "g").budget == pytest.approx({"noise": -5.0})


def test_an_input_that_cancels_is_not_listed() -> None:
    shared, own = ufloat(10.0, 3.0, tag="shared"), ufloat(1.0, 0.1, tag="own")
    assert Result((shared + own) - shared, "g").budget == pytest.approx({"own": 0.1})


def test_an_input_without_a_name_is_called_so() -> None:
    assert list(Result(ufloat(1.0, 0.1), "").budget) == ["unnamed"]
