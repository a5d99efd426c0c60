"""A text table of anyone's making: its encoding, separator, header row and cells."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from emberline.links.errors import RecordingError

SEPARATORS = "\t;,"
LOOKED_AT = 200
"""Rows that decide on separator, width and header."""

NUMBER = re.compile(r"\s*[+-]?(\d+([.,]\d*)*|[.,]\d+)([eE][+-]?\d+)?\s*")
TIME = re.compile(r"\s*(\d{4}-\d\d-\d\d|\d+:\d\d)")


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under a header.

    Attributes:
        header: Names of the columns; empty where the file has no header row.
        rows: Cells, every row as wide as the widest one.
        set_aside: Number of rows left out, by reason.
    """

    header: tuple[str, ...]
    rows: list[list[str]]
    set_aside: Counter[str]

    @property
    def width(self) -> int:
        """Number of columns."""
        return max(len(self.header), len(self.rows[0]) if self.rows else 0)


def read_table(data: bytes, wanted: Sequence[str] = ()) -> Table:
    """Split a file into rows and cells.

    Args:
        data: Bytes of the file, in UTF-8, UTF-16 with its mark, or Latin-1.
        wanted: Names of columns; the row that holds all of them is the header, wherever it stands.

    Raises:
        RecordingError: The file is not a text table.
    """
    lines = [line for line in _text(data).splitlines() if line.strip()]
    if not lines:
        raise RecordingError("the file is empty: record a burn first, or choose another file")
    rows = _split(lines, _separator(lines[:LOOKED_AT]))
    width = Counter(len(row) for row in rows).most_common(1)[0][0]
    if width < 2:
        raise RecordingError("the file has only one column: separate time and values by commas, semicolons or tabs")
    at = _header_at(rows[:LOOKED_AT], width, {_plain(name) for name in wanted})
    header = tuple(cell.strip() for cell in rows[at]) if at is not None else ()
    set_aside: Counter[str] = Counter()
    if at:
        set_aside["text before the header"] = at
    kept = _data_rows(rows[0 if at is None else at + 1 :], header, set_aside)
    widest = max([len(header), *(len(row) for row in kept)])
    for row in kept:
        if len(row) < widest:
            row.extend([""] * (widest - len(row)))
    return Table(header, kept, set_aside)


def _text(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if data.startswith(b"PK\x03\x04") or b"\0" in data[:4096]:
        raise RecordingError("the file is no text: save the table as CSV first")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return text.replace("\0", "")


def _separator(lines: Sequence[str]) -> str:
    """Return the separator that most lines hold; a comma only if nothing else does, since it may be a decimal one."""
    for separator in SEPARATORS:
        if sum(separator in line for line in lines) > len(lines) / 2:
            return separator
    return ","


def _split(lines: Sequence[str], separator: str) -> list[list[str]]:
    try:
        rows = list(csv.reader(lines, delimiter=separator))
    except csv.Error:
        rows = []
    if len(rows) != len(lines):
        # A lone quotation mark has swallowed lines: then none of them quotes anything.
        rows = [[cell.strip('"') for cell in line.split(separator)] for line in lines]
    return rows


def _header_at(rows: Sequence[list[str]], width: int, wanted: set[str]) -> int | None:
    if wanted:
        for number, row in enumerate(rows):
            if wanted <= {_plain(cell) for cell in row}:
                return number
    for number, row in enumerate(rows):
        filled = [cell for cell in row if cell.strip()]
        if any(_is_reading(cell) for cell in filled):
            # The first row of readings: a header would have stood before it.
            if sum(map(_is_reading, filled)) > len(filled) / 2:
                return None
            continue
        if len(filled) > 1 and abs(len(row) - width) <= 1:
            return number
    return None


def _data_rows(rows: list[list[str]], header: Sequence[str], set_aside: Counter[str]) -> list[list[str]]:
    names = [_plain(cell) for cell in header]
    kept = []
    for number, row in enumerate(rows):
        # A row with a reading is the common case and costs one look at its first cell.
        if any(_is_reading(cell) for cell in row):
            kept.append(row)
        elif names and [_plain(cell) for cell in row] == names:
            set_aside["repeated header"] += 1
        elif number == 0 and header:
            set_aside["row of units"] += 1
        else:
            set_aside["row of text"] += 1
    return kept


def _is_reading(cell: str) -> bool:
    return NUMBER.fullmatch(cell) is not None or TIME.match(cell) is not None


def _plain(name: str) -> str:
    return name.strip().casefold()
