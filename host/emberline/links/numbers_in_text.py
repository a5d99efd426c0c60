"""Numbers as people and loggers write them, by the column."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

COMMA = re.compile(r"\s*[+-]?\d*,\d+([eE][+-]?\d+)?\s*")
DOT = re.compile(r"\s*[+-]?\d*\.\d+([eE][+-]?\d+)?\s*")
GROUPED = {".": re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?"), ",": re.compile(r"[+-]?\d{1,3}(\.\d{3})+(,\d*)?")}
UNIT = re.compile(r"\s*(°\s*[CF]|℃|[a-zA-Z%]{1,3})\s*$")


@dataclass(frozen=True, slots=True, eq=False)
class NumberColumn:
    """A column read as numbers.

    Attributes:
        value: (n,) the numbers, NaN where a cell holds none.
        blank: (n,) whether the cell was empty.
        fault: (n,) whether the cell says NaN, which is how a logger reports a fault.
    """

    value: NDArray[np.float64]
    blank: NDArray[np.bool_]
    fault: NDArray[np.bool_]


def decimal_mark(columns: Sequence[Sequence[str]]) -> str:
    """Return the mark that most cells of some columns use: `.` or `,`."""
    commas = dots = 0
    for column in columns:
        for cell in islice(column, 0, None, max(1, len(column) // 500)):
            commas += COMMA.fullmatch(cell) is not None
            dots += DOT.fullmatch(cell) is not None
    return "," if commas > dots else "."


def read_numbers(cells: Sequence[str], mark: str) -> NumberColumn:
    """Read a column; what is no finite number becomes NaN.

    Args:
        cells: Text of the cells.
        mark: Decimal mark of the file; the other one may only group thousands.
    """
    clean: Sequence[str] = cells
    if mark == ",":
        clean = "\n".join(cells).replace(",", ".").split("\n") if not any("." in cell for cell in cells) else ()
    if len(clean) == len(cells):
        try:
            value = np.array(clean, dtype=np.float64)
        except ValueError:
            pass  # some cell needs a closer look
        else:
            fault = np.isnan(value)
            value[~np.isfinite(value)] = np.nan
            return NumberColumn(value, np.zeros(len(cells), dtype=np.bool_), fault)
    value = np.array([_number(cell, mark) for cell in cells], dtype=np.float64)
    blank = np.array([not cell.strip() for cell in cells], dtype=np.bool_)
    fault = np.array([cell.strip().lower() == "nan" for cell in cells], dtype=np.bool_)
    value[~np.isfinite(value)] = np.nan
    return NumberColumn(value, blank, fault)


def _number(cell: str, mark: str) -> float:
    text = cell.strip()
    if mark == ",":
        text = _ungrouped(text, mark) if "." in text else text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        pass
    # Rare forms: a unit behind the number, a typographic minus, grouped thousands.
    text = UNIT.sub("", cell.strip()).replace("\N{MINUS SIGN}", "-")
    try:
        return float(_ungrouped(text, mark))
    except ValueError:
        return float("nan")


def _ungrouped(text: str, mark: str) -> str:
    """Return a number in Python's form; its thousands may be grouped by the other mark."""
    if GROUPED[mark].fullmatch(text):
        text = text.replace("," if mark == "." else ".", "")
    return text.replace(",", ".") if mark == "," else text
