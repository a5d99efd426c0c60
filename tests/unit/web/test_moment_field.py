"""Moments and numbers as people type them."""

import pytest

from emberline.trials.corrections import CorrectionError
from emberline.web.moment_field import moment_s, moment_text, number, whole


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("9:34", 574.0), ("0:05.5", 5.5), ("0:5", 5.0), ("62:00", 3720.0), ("-0:20", -20.0), ("−1:00,5",
        -60.5), ("574", 574.0),
        ("574 s", 574.0), (" 57,5s ", 57.5),
    ],
)  # fmt: skip
def test_a_moment_is_read_however_it_is_written(text: str, seconds: float) -> None:
    assert moment_s(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["", "9:60", "9:5:1", "noon", "1e3", "99999:00", "٣:٠٠ x", "nan"])
def test_what_is_no_moment_is_refused_at_its_field(text: str) -> None:
    with pytest.raises(CorrectionError) as refused:
        moment_s(text)
    assert refused.value.field == "t"


@pytest.mark.parametrize("t_s", [0.0, 574.04, -20.0, 3720.0, 59.96])
def test_a_field_holds_what_reads_as_the_same_moment(t_s: float) -> None:
    assert moment_s(moment_text(t_s)) == pytest.approx(t_s, abs=0.051)


def test_what_rounds_to_nothing_has_no_sign() -> None:
    assert moment_text(-0.04) == "0:00.0"
    assert moment_text(-0.06) == "-0:00.1"


def test_numbers_have_points_or_commas() -> None:
    assert number(" 1,5", "u_s", "seconds") == 1.5
    assert number("−2", "u_s", "seconds") == -2.0
    for text in ("", "a", "nan", "inf", "1.2.3"):
        with pytest.raises(CorrectionError, match="write seconds") as refused:
            number(text, "u_s", "seconds")
        assert refused.value.field == "u_s"


@pytest.mark.parametrize(
    ("text", "value"),
    [("0", 0), ("12", 12), ("", None), ("-1", None), ("1.5", None), ("9" * 5000, None), ("²", None), ("٣", None)],
)
def test_what_counts_is_a_short_row_of_digits(text: str, value: int | None) -> None:
    assert whole(text) == value
