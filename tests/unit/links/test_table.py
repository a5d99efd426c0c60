import pytest

from emberline.links.errors import RecordingError
from emberline.links.table import read_table


@pytest.mark.parametrize(
    "text",
    ["t_s,mass_g\n0,1000.5\n1,999.5\n", "t_s;mass_g\n0;1000.5\n1;999.5\n", "t_s\tmass_g\n0\t1000.5\n1\t999.5\n"],
    ids=["comma", "semicolon", "tab"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_separators_and_encodings(text: str, encoding: str) -> None:
    table = read_table(text.encode(encoding))
    assert table.header == ("t_s", "mass_g")
    assert table.rows == [["0", "1000.5"], ["1", "999.5"]]
    assert not table.set_aside


def test_latin_1_is_read_where_it_is_no_utf_8() -> None:
    table = read_table("Zeit;Wasser °C\n0;20,5\n1;20,6\n".encode("latin-1"))
    assert table.header == ("Zeit", "Wasser °C")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert len(read_table(end.join(["t,m", "0,1", "1,2", ""]).encode()).rows) == 2


def test_semicolons_separate_where_commas_are_decimal() -> None:
    assert read_table(b"t;m;w\n0,5;1000,25;20\n1,5;999,25;21\n").rows[0] == ["0,5", "1000,25", "20"]


def test_everything_that_is_no_reading_is_counted() -> None:
    text = "Logger 4;serial 7\n\ntime;mass\ns;g\n0;1000\nprobe unplugged\ntime;mass\n1;999\n;\n2;998\n"
    table = read_table(text.encode(), ["time", "mass"])
    assert [row[0] for row in table.rows] == ["0", "1", "2"]
    assert table.set_aside == {
        "text before the header": 1,
        "row of units": 1,
        "row of text": 2,
        "repeated header": 1,
    }


def test_the_header_is_found_without_being_told_its_names() -> None:
    text = "Burn of chips\nStarted,2026-05-01\nt,m,w\n0,1000,20\n1,999,20\n2,998,20\n"
    table = read_table(text.encode())
    assert table.header == ("t", "m", "w")
    assert len(table.rows) == 3


def test_a_file_without_a_header_keeps_its_first_row() -> None:
    table = read_table(b"0,1000\n1,999\n")
    assert table.header == ()
    assert len(table.rows) == 2
    assert table.width == 2


def test_short_and_long_rows_are_kept() -> None:
    table = read_table(b"t,m,w\n0,1000,20\n1,999\n2,998,20,7\n")
    assert table.rows == [["0", "1000", "20", ""], ["1", "999", "", ""], ["2", "998", "20", "7"]]


def test_a_lone_quotation_mark_costs_no_other_line() -> None:
    table = read_table(b't,m\n0,1000\n1,"999\n2,998\n3,997\n')
    assert [row[0] for row in table.rows] == ["0", "1", "2", "3"]


def test_quoted_cells_may_hold_the_separator() -> None:
    assert read_table(b't,"m, net"\n0,"1000,5"\n1,"999,5"\n').rows[0] == ["0", "1000,5"]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"PK\x03\x04 a workbook", "as CSV"),
        (b"\x00\x01\x02", "as CSV"),
        (b"only\n1\n2\n", "one column"),
    ],
)
def test_what_is_no_table_is_told(data: bytes, told: str) -> None:
    with pytest.raises(RecordingError, match=told):
        read_table(data)
