import pytest

from emberline.bench.plan_quantities import QUANTITIES


@pytest.mark.parametrize("key", list(QUANTITIES))
def test_every_number_has_a_range_and_an_uncertainty(key: str) -> None:
    quantity = QUANTITIES[key]
    assert quantity.low < quantity.high
    assert quantity.assumed_u(quantity.high) > 0
    assert quantity.problem(quantity.low) is None
    assert quantity.problem(quantity.high) is None
    assert quantity.problem(quantity.high * 1.001 + 0.001) is not None


@pytest.mark.parametrize("key", list(QUANTITIES))
def test_every_hint_is_for_a_value_that_is_refused(key: str) -> None:
    quantity = QUANTITIES[key]
    for hint in quantity.hints:
        refused = [value for value in (hint.low, hint.high, (hint.low + hint.high) / 2) if quantity.problem(value)]
        assert refused


def test_names_end_in_their_unit() -> None:
    endings = {"g": "_g", "J/g": "_j_g", "s": "_s", "J/K": "_j_k", "degC": "_c", "m": "_m", "Pa": "_pa"}
    for key, quantity in QUANTITIES.items():
        if quantity.unit:
            assert key.endswith(endings[quantity.unit])
