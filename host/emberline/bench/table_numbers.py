"""Numbers as spreadsheets of many countries write them: read where only one number can be meant."""

import re
from collections.abc import Iterable

_BLANKS = re.compile(r"(?<=\d)[ \N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}'’](?=\d{3}(?!\d))")
_PLAIN = re.compile(r"[+-]?\d+([eE][+-]?\d+)?")
_SURE = re.compile(r"[+-]?(\d{4,}|0*|0+)([.,])\d+([eE][+-]?\d+)?|[+-]?\d*([.,])(\d{1,2}|\d{4,})([eE][+-]?\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})+")
_BOTH = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(\.)\d+|[+-]?\d{1,3}(?:\.\d{3})+(,)\d+")

LONGEST = 40
"""Characters of a number."""


class NoNumberError(ValueError):
    """A cell holds no number, or one that can be read in two ways; the message says what to write."""


def decimal_marks(cells: Iterable[str], separator: str) -> frozenset[str]:
    """Return the decimal marks, points and commas, that some cells of a table use for certain.

    Args:
        cells: Cells that should hold numbers.
        separator: What parts the cells of the table. Where nothing else tells, a comma there means that decimals have
            points: no spreadsheet writes both as commas.
    """
    marks = set()
    for cell in map(_tidy, cells):
        if both := _BOTH.fullmatch(cell):
            marks.add(both[1] or both[2])
        elif sure := _SURE.fullmatch(cell):
            marks.add(sure[2] or sure[4])
        elif cell.count(",") > 1 and _GROUPED.fullmatch(cell):
            marks.add(".")
        elif cell.count(".") > 1 and _GROUPED.fullmatch(cell):
            marks.add(",")
    if not marks and separator == ",":
        marks.add(".")
    return frozenset(marks)


def number_in(cell: str, marks: frozenset[str]) -> int | float:
    """Return the number in a cell.

    Args:
        cell: Its text.
        marks: The decimal marks of its table.

    Raises:
        NoNumberError: There is none, or `1,234` could be two.
    """
    text = _tidy(cell)
    if len(text) > LONGEST:
        raise NoNumberError(f"{cell.strip()[:LONGEST]!r}… is longer than any number that is meant")
    if _PLAIN.fullmatch(text) and not re.search("[eE]", text):
        return int(text)
    if _PLAIN.fullmatch(text):
        return float(text)
    if both := _BOTH.fullmatch(text):
        mark = both[1] or both[2]
        return float(text.replace("," if mark == "." else ".", "").replace(",", "."))
    if _SURE.fullmatch(text):
        return float(text.replace(",", "."))
    grouped = _GROUPED.fullmatch(text)
    if grouped is None:
        raise NoNumberError(f"{cell.strip()!r} is no number: write it without its unit")
    mark, whole = grouped[1], re.sub("[.,]", "", text)
    if text.count(mark) > 1:
        return int(whole)
    if marks == {mark}:
        return float(text.replace(",", "."))
    if len(marks) == 1:
        return int(whole)
    raise NoNumberError(
        f"{cell.strip()!r} can be {float(text.replace(',', '.')):g} or {whole}: write {text}0 or {whole}"
    )


def _tidy(cell: str) -> str:
    return _BLANKS.sub("", cell.strip().replace("\N{MINUS SIGN}", "-"))
