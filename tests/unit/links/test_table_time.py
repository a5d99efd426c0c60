from datetime import UTC, timedelta, timezone

import pytest

from emberline.links.errors import RecordingError
from emberline.links.table_time import TimeColumn, read_times

# 1,000,000,000 s after 1970 is 2001-09-09T01:46:40Z (POSIX.1, "Seconds Since the Epoch").
BILLION_NS = 1_000_000_000 * 10**9


def read(cells: list[str], *words: str, mark: str = ".") -> TimeColumn:
    return read_times(cells, frozenset(words), mark, UTC)


def test_running_seconds() -> None:
    column = read(["0", "0.1", "600.05"], "time", "s")
    assert column.t_ns.tolist() == [0, 100_000_000, 600_050_000_000]
    assert not column.absolute
    assert column.remarks == ()


@pytest.mark.parametrize(
    ("word", "cells", "ns"),
    [("ms", ["0", "250"], 250_000_000), ("min", ["0", "1.5"], 90_000_000_000), ("h", ["0", "0.5"], 1_800_000_000_000)],
)
def test_running_units_come_from_the_columns_name_and_are_told(word: str, cells: list[str], ns: int) -> None:
    column = read(cells, "time", word)
    assert column.t_ns[1] == ns
    assert word in column.remarks[0]


@pytest.mark.parametrize("scale", [1, 10**3, 10**6, 10**9])
def test_epochs_are_known_by_their_size(scale: int) -> None:
    column = read([str(10**9 * scale), str((10**9 + 1) * scale)], "ms")
    assert column.absolute
    assert column.t_ns.tolist() == [BILLION_NS, BILLION_NS + 10**9]


def test_parts_of_a_second_of_an_epoch_come_back_as_they_were_written() -> None:
    assert read(["1000000000.254", "1764072000.511"]).t_ns.tolist() == [
        BILLION_NS + 254_000_000,
        1_764_072_000_511_000_000,
    ]
    assert read(["1764072000511", "1764072000512"]).t_ns.tolist() == [
        1_764_072_000_511_000_000,
        1_764_072_000_512_000_000,
    ]


@pytest.mark.parametrize(
    "cell",
    ["2001-09-09T01:46:40Z", "2001-09-09 01:46:40", "2001-09-09T03:46:40+02:00", "20010909T014640Z"],
)
def test_iso_8601(cell: str) -> None:
    column = read([cell, cell])
    assert column.absolute
    assert column.t_ns[0] == BILLION_NS
    assert bool(column.remarks) == (cell == "2001-09-09 01:46:40")


def test_parts_of_a_second_with_a_dot_or_a_comma() -> None:
    assert (
        read(["2001-09-09T01:46:40.250Z", "2001-09-09T01:46:40,250Z"]).t_ns.tolist() == [BILLION_NS + 250_000_000] * 2
    )


def test_a_zone_applies_where_none_is_named() -> None:
    zone = timezone(timedelta(hours=2))
    column = read_times(["2001-09-09 03:46:40"], frozenset(), ".", zone)
    assert column.t_ns[0] == BILLION_NS


def test_a_clock_runs_on_over_midnight() -> None:
    column = read(["23:59:58", "23:59:59.5", "0:00:01"])
    assert not column.absolute
    assert (column.t_ns - column.t_ns[0]).tolist() == [0, 1_500_000_000, 3_000_000_000]


def test_cells_without_a_time_are_marked() -> None:
    assert read(["0", "x", "", "1e400", "3"]).good.tolist() == [True, False, False, False, True]
    assert read(["2001-09-09T01:46:40Z", "", "later", "2001-09-09T01:46:41Z"]).good.tolist() == [
        True,
        False,
        False,
        True,
    ]


@pytest.mark.parametrize("sound", ["2001-09-09T01:46:40Z", "12:00:01"])
@pytest.mark.parametrize(
    "beyond", ["0026-11-25T12:00:00Z", "9999-11-25T12:00:00Z", "999999999:00:00", "9" * 5000 + ":00:00"]
)
def test_a_year_or_an_hour_beyond_all_bounds_is_no_time(sound: str, beyond: str) -> None:
    """Found by fuzzing: such a time overflowed its 64 bits."""
    assert read([sound, beyond, sound]).good.tolist() == [True, False, True]


def test_decimal_commas() -> None:
    assert read(["0,5", "1,5"], mark=",").t_ns.tolist() == [500_000_000, 1_500_000_000]


@pytest.mark.parametrize("cells", [["soon", "later"], ["", ""], ["31/12/2026 10:00", "31/12/2026 10:01"]])
def test_no_times_at_all_is_told_with_an_example_of_what_would_do(cells: list[str]) -> None:
    with pytest.raises(RecordingError, match="ISO 8601"):
        read(cells)


def test_a_number_that_is_neither_seconds_nor_an_epoch_is_not_guessed_at() -> None:
    with pytest.raises(RecordingError, match="neither"):
        read(["20261125100000", "20261125100001"])
