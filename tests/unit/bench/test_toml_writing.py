import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emberline.bench.toml_writing import quoted

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
