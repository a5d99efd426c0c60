import pytest
from uncertainties import UFloat, ufloat

import burn_fixture
from emberline.heat.advice import REMEDIES, advice
from emberline.heat.result import Result
from emberline.heat.results import compute_results


def result(**parts: float) -> Result:
    total: UFloat = sum(ufloat(1.0, u, tag=tag.replace("__", ".")) for tag, u in parts.items())
    return Result(total, "")


def test_one_input_that_decides_is_named_alone() -> None:
    text = advice(result(fuel__char_lhv_j_g=0.9, fuel__mass_g=0.1), "thermal_efficiency_char_credit")
    assert text == (
        "To know the thermal efficiency char credit twice as well, have a sample of the char measured: "
        "99 % of its variance is the char's heating value."
    )


def test_two_inputs_that_decide_together_are_both_named() -> None:
    text = advice(result(fuel__mass_g=0.5, fuel__moisture_wet=0.4, boil=0.1), "char_yield")
    assert "weigh the fuel" in text
    assert "105 °C" in text


def test_many_small_inputs_decide_nothing() -> None:
    text = advice(result(fuel__mass_g=0.5, fuel__moisture_wet=0.49, boil=0.48, lit=0.47, flameout=0.46), "char_yield")
    assert text.startswith("No single input decides")
    assert "weigh the fuel" in text


def test_inputs_with_one_remedy_count_together() -> None:
    text = advice(result(evaporation_model=0.5, steam_share=0.5, fuel__mass_g=0.4), "char_left")
    assert "load cell of its own" in text
    assert text.count("what evaporated") == 1


def test_numbers_of_visits_do_not_matter() -> None:
    assert "weigh the water" in advice(result(pot__visit__2__water_g=1.0), "cooking_power")


def test_an_input_without_a_remedy_is_named_by_its_tag() -> None:
    assert "'odd.input'" in advice(result(odd__input=1.0), "cooking_power")


def test_an_exact_result_needs_no_advice() -> None:
    assert advice(Result(ufloat(1.0, 0.1) * 0.0 + 5.0, "s"), "burn_time") == ""


@pytest.mark.parametrize("remedy", REMEDIES.values())
def test_remedies_fit_into_a_sentence(remedy: tuple[str, str]) -> None:
    for words in remedy:
        assert words[0].islower()
        assert not words.endswith(".")


def test_every_result_of_a_burn_has_advice() -> None:
    for name, value in compute_results(*burn_fixture.usual()).values.items():
        assert advice(value, name).endswith(".")
