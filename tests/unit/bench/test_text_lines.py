"""The column map of a bench file."""

import pytest

from emberline.bench.bench_file import BenchFileError, parse_bench
from emberline.bench.text_lines import TextLines, TimeUnit

COLUMNS = """
[[channel]]
role = "water"
source = "2"
[[channel]]
role = "mass"
source = "4"
[serial]
port = "/dev/ttyUSB0"
baud = 9600
[serial.lines]
"""
LABELS = """
[[channel]]
role = "water"
[[channel]]
role = "mass"
source = "W"
[serial]
port = "/dev/ttyUSB0"
[serial.lines]
"""


def lines_of(text: str) -> TextLines:
    serial = parse_bench(text).serial
    assert serial is not None
    assert serial.lines is not None
    return serial.lines


def test_columns_have_numbers_and_a_line_ends_with_the_last_of_them() -> None:
    assert lines_of(COLUMNS) == TextLines(("2", "4"), 4)
    assert lines_of(COLUMNS + 'columns = 5\ntime = "1"\ntime_unit = "us"') == TextLines(
        ("2", "4"), 5, "1", TimeUnit.MICROSECONDS
    )


def test_labels_are_sources_or_names() -> None:
    assert lines_of(LABELS + 'time = "t"\ntime_unit = "s"') == TextLines(("water", "W"), None, "t", TimeUnit.SECONDS)


def test_without_the_table_a_device_sends_frames() -> None:
    serial = parse_bench(COLUMNS.partition("[serial.lines]")[0]).serial
    assert serial is not None
    assert serial.lines is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (COLUMNS + "columns = 3", "numbered from 1 to 3"),
        (COLUMNS + 'time = "4"', "the same source"),
        (COLUMNS + 'time = "millis"', "give millis the number of its column"),
        (COLUMNS + 'time_unit = "ms"', "belongs to time"),
        (COLUMNS + 'time = "1"\ntime_unit = "h"', "must be one of ms, us, s"),
        (COLUMNS + "columns = 100", "outside 1 to 64"),
        (COLUMNS.replace('"2"', '"0"'), "numbered from 1"),
        (COLUMNS.replace('"4"', '"99"'), "numbered from 1 to 64"),
        (LABELS + "columns = 2", "have no columns"),
        (LABELS + "colums = 2", "did you mean columns"),
        (COLUMNS.replace("baud = 9600", 'device = "b1"'), "do not say which device"),
    ],
)
def test_what_does_not_fit_together_is_told(text: str, told: str) -> None:
    with pytest.raises(BenchFileError, match=told):
        parse_bench(text)


def test_a_label_of_thousands_of_digits_is_no_column() -> None:
    with pytest.raises(BenchFileError, match="numbers or labels"):
        parse_bench(COLUMNS.replace('"4"', f'"{"9" * 5000}"'))
