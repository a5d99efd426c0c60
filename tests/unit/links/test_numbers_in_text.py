import math

import numpy as np
import pytest

from emberline.links.numbers_in_text import decimal_mark, read_numbers


def test_plain_numbers() -> None:
    column = read_numbers(["1", "-2.5", "1e3", " 4 ", "+.5"], ".")
    assert column.value.tolist() == [1.0, -2.5, 1000.0, 4.0, 0.5]
    assert not column.blank.any()


@pytest.mark.parametrize(
    ("cell", "mark", "value"),
    [
        ("23,5", ",", 23.5),
        ("-0,25", ",", -0.25),
        ("1.042,7", ",", 1042.7),
        ("1.042", ",", 1042.0),
        ("1,042.7", ".", 1042.7),
        ("1,042", ".", 1042.0),
        ("23.5 °C", ".", 23.5),
        ("23,5°C", ",", 23.5),
        ("1042 g", ".", 1042.0),
        ("−5.5", ".", -5.5),
        ("12", ",", 12.0),
        ("1,5e2", ",", 150.0),
    ],
)
def test_forms_that_people_write(cell: str, mark: str, value: float) -> None:
    assert read_numbers([cell, "x"], mark).value[0] == value


@pytest.mark.parametrize(
    "cell", ["", "  ", "ERR", "nan", "inf", "-", "--", "#N/A", "23,5", "1 2", "0x1f", "1e999", "12,34"]
)
def test_what_is_no_number_becomes_nan_and_never_a_wrong_number(cell: str) -> None:
    column = read_numbers([cell, "1.5"], ".")
    assert math.isnan(column.value[0])
    assert column.value[1] == 1.5
    assert column.blank[0] == (not cell.strip())


def test_no_number_in_a_clean_column_is_blank_or_infinite() -> None:
    column = read_numbers(["1.5", "nan", "inf"], ".")
    assert np.isnan(column.value).tolist() == [False, True, True]
    assert column.fault.tolist() == [False, True, False]


def test_a_fault_is_told_from_text_beside_it() -> None:
    assert read_numbers(["1,5", "NaN", "ERR", ""], ",").fault.tolist() == [False, True, False, False]


def test_the_mark_is_what_most_cells_use() -> None:
    assert decimal_mark([["0,5", "1"], ["20,25", "7"]]) == ","
    assert decimal_mark([["0.5", "1"], ["20.25", "1,5"]]) == "."
    assert decimal_mark([["1", "2"]]) == "."
    assert decimal_mark([[]]) == "."
