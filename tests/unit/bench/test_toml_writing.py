import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberline.bench.toml_writing import quoted, written

TEXTS = st.text(st.characters(codec="utf-8"))


@given(TEXTS)
def test_a_reader_gets_the_text_back(text: str) -> None:
    assert tomllib.loads(f"x = {quoted(text)}") == {"x": text}


@pytest.mark.parametrize(
    "text", ["", 'the "big" one', "C:\\burns", "two\nlines\r\n", "\x00\x1b\x7f\x85", "Späne, 12 × 6 mm 🔥"]
)
def test_signs_that_mean_something_in_toml(text: str) -> None:
    line = f"x = {quoted(text)}"
    assert "\n" not in line
    assert tomllib.loads(line) == {"x": text}


def test_a_plan_is_written_as_a_person_would() -> None:
    plan = {
        "label": "chips, run 3",
        "factors": {"fuel": "chips", "air holes": "12"},
        "fuel": {"mass_g": 310.0, "lot": "chips 2"},
        "pot": {"lid": False, "visit": [{"water_g": 500.0}, {"water_g": 650.5}]},
    }
    text = written(plan)
    assert text.splitlines()[:2] == [
        'label = "chips, run 3"',
        'factors = { fuel = "chips", "air holes" = "12" }',
    ]
    assert "[[pot.visit]]\nwater_g = 650.5" in text
    assert tomllib.loads(text) == plan


SCALARS = st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False) | TEXTS
TABLES = st.recursive(
    st.dictionaries(TEXTS, SCALARS, max_size=3),
    lambda inner: st.dictionaries(TEXTS, SCALARS | inner | st.lists(inner, min_size=1, max_size=2), max_size=3),
    max_leaves=8,
)


@given(TABLES)
def test_any_table_comes_back(table: dict[str, object]) -> None:
    assert tomllib.loads(written(table)) == table
