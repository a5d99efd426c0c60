"""Numbers of spreadsheets: what can be meant in one way is read, what can be meant in two is asked back."""

import pytest

from emberline.bench.table_numbers import NoNumberError, decimal_marks, number_in

POINT, COMMA, BOTH, NONE = (frozenset(marks) for marks in (".", ",", ".,", ""))


@pytest.mark.parametrize(
    ("cell", "marks", "number"),
    [
        ("310", NONE, 310),
        (" -5 ", NONE, -5),
        ("\N{MINUS SIGN}5", NONE, -5),
        ("1e3", NONE, 1000.0),
        ("0.11", NONE, 0.11),
        ("0,11", NONE, 0.11),
        (",5", NONE, 0.5),
        ("0,125", NONE, 0.125),
        ("12,5", POINT, 12.5),
        ("1234,567", NONE, 1234.567),
        ("18,400.5", NONE, 18400.5),
        ("18.400,5", NONE, 18400.5),
        ("1.234.567", NONE, 1234567),
        ("18 400", NONE, 18400),
        ("18\N{NO-BREAK SPACE}400,5", NONE, 18400.5),
        ("18'400.5", NONE, 18400.5),
        ("18.400", POINT, 18.4),
        ("18.400", COMMA, 18400),
        ("18,400", COMMA, 18.4),
        ("18,400", POINT, 18400),
    ],
)
def test_one_meaning(cell: str, marks: frozenset[str], number: float) -> None:
    assert number_in(cell, marks) == number


@pytest.mark.parametrize("marks", [NONE, BOTH])
@pytest.mark.parametrize("cell", ["18,400", "18.400"])
def test_two_meanings_are_both_told(cell: str, marks: frozenset[str]) -> None:
    with pytest.raises(NoNumberError, match=r"can be 18\.4 or 18400"):
        number_in(cell, marks)


@pytest.mark.parametrize("cell", ["", "3 g", "nan", "inf", "1,2,3", "12 34", "1.2.3", "x", "--5", "1_000"])
def test_no_number(cell: str) -> None:
    with pytest.raises(NoNumberError, match="is no number"):
        number_in(cell, POINT)


def test_a_number_of_thousands_of_digits_is_none() -> None:
    with pytest.raises(NoNumberError, match="longer than any number"):
        number_in("9" * 5_000, POINT)


def test_a_tables_marks_are_those_that_are_certain() -> None:
    assert decimal_marks(["0,11", "18.400", "330"], ";") == COMMA
    assert decimal_marks(["0.11", "18,400"], ",") == POINT
    assert decimal_marks(["1.234.567"], ";") == COMMA
    assert decimal_marks(["1,234,567"], ";") == POINT
    assert decimal_marks(["1.5", "1,5"], ";") == BOTH
    assert decimal_marks(["18.400", "330"], ";") == NONE
    assert decimal_marks(["18.400", "330"], ",") == POINT, "cells parted by commas have points in their numbers"
