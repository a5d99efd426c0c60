"""Lines as sketches print them."""

import math

import pytest

from emberline.links.text_line import MAX_LINE_BYTES, Remark, Unreadable, Values, in_order, read_text_line


def values(text: str) -> Values:
    found = read_text_line(text.encode())
    assert isinstance(found, Values), found
    return found


@pytest.mark.parametrize(
    "text",
    [
        "123456,23.5,1042.7",
        "123456, 23.5, 1042.7,",
        "123456;23,5;1042,7",
        "123456\t23.5\t1042.7",
        "123456 23.5  1042.7",
        "123456 23,5 1042,7",
        "123456,23.5C,1042.7 g",
        " 123456,+23.5,1.0427e3 ",
    ],
)
def test_values_in_columns(text: str) -> None:
    found = values(text)
    assert found.numbers == {"1": 123456.0, "2": 23.5, "3": 1042.7}
    assert (found.words, found.columns) == ({}, 3)


@pytest.mark.parametrize(
    "text",
    [
        "T1:23.5,M:1042.7",
        "T1: 23.5 M: 1042.7",
        "T1=23.5 C  M = 1042.7 g",
        "T1=23,5;M=1042,7",
        "T1=23,5 M=1042,7",
        '{"T1": 23.5, "M": 1042.7}',
        "T1 : 23.5 °C, M : 1042.7 g",
    ],
)
def test_values_with_labels(text: str) -> None:
    found = values(text)
    assert found.numbers == {"T1": 23.5, "M": 1042.7}
    assert found.columns is None


def test_a_label_may_have_several_words() -> None:
    assert values("Water temp: 23.5, Scale: 3").numbers == {"Water temp": 23.5, "Scale": 3.0}


def test_a_comma_between_whole_numbers_parts_columns() -> None:
    assert values("20,5").numbers == {"1": 20.0, "2": 5.0}


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("T: 74.3 F", "°F", 23.5),
        ("T: 74.3 *F", "°F", 23.5),
        ("T: 296.65 K", "K", 23.5),
        ("T: 23,5 degC;", "°C", 23.5),
        ("T: 0.0235kg", "kg", 23.5),
        ("T: 1 lb", "lb", 453.59237),
        ("T: 1013.2 hPa", "hPa", 101_320.0),
    ],
)
def test_a_unit_behind_a_number_is_converted(text: str, unit: str, value: float) -> None:
    found = values(text)
    assert found.units == {"T": unit}
    assert found.numbers["T"] == pytest.approx(value)


def test_a_number_with_a_unit_that_nobody_knows_is_no_number() -> None:
    found = values("23.5C,7x,5")
    assert found.numbers == {"1": 23.5, "3": 5.0}
    assert found.words == {"2": "7x"}


@pytest.mark.parametrize("word", ["nan", "NaN", "-nan", "inf", "ovf", "open", "SHORT", "err", "---"])
def test_a_word_for_a_broken_sensor_is_a_value_without_a_number(word: str) -> None:
    found = values(f"5,{word},7")
    assert math.isnan(found.numbers["2"])
    assert found.numbers.keys() == {"1", "2", "3"}


def test_other_words_and_empty_cells_are_no_values() -> None:
    found = values("5,,OK,12:30:05")
    assert found.numbers == {"1": 5.0}
    assert found.words == {"3": "OK", "4": "12:30:05"}
    assert found.columns == 4


def test_headers_and_comments_are_remarks() -> None:
    assert read_text_line(b"millis,water,mass") == Remark("millis,water,mass", ("millis", "water", "mass"))
    assert read_text_line(b"# 3 probes, 1 cell") == Remark("# 3 probes, 1 cell")
    assert read_text_line(b"// 1,2,3") == Remark("// 1,2,3")
    assert read_text_line(b"  ") == Remark("")


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"\xf8\xe0\x1c\xff", "no text"),
        (b"12,3\x004", "no text"),
        (b"T1=20 T1=21", "twice"),
        (b"1," * MAX_LINE_BYTES, "longer"),
        (b",".join([b"1"] * 65), "65 values"),
        (b" ".join(b"a%d=1" % n for n in range(65))[:MAX_LINE_BYTES], None),
    ],
)
def test_what_is_no_line_of_values(line: bytes, why: str | None) -> None:
    found = read_text_line(line)
    if why is None:
        assert isinstance(found, Values)
    else:
        assert isinstance(found, Unreadable)
        assert why in found.why


def test_columns_go_by_their_numbers_and_labels_as_they_come() -> None:
    assert in_order(["10", "2", "1"]) == ["1", "2", "10"]
    assert in_order(["water", "2"]) == ["water", "2"]


def test_a_number_in_the_place_of_a_label_names_nothing() -> None:
    # The fuzzer: a bench file that was proposed from such a line named a column beside labels, and could not be read.
    assert read_text_line(b'{"t": 2000 mass "0": 21, "mass": 999}') == Values({"mass": 999.0}, {"t": "2000mass"})
    assert read_text_line(b"1wire: 20.5  0: 3") == Values({"1wire": 20.5})
