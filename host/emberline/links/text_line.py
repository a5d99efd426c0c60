"""One line of text that a sketch of somebody's own printed: its values by column or label, or why it has none.

Values lie in columns (`123456,23.5,1042.7`, also with semicolons, tabs or spaces between them) or behind labels
(`T1: 23.5 C  mass=1042.7`). Nothing is known of the sketch; what cannot be read without doubt is no value.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

MAX_LINE_BYTES = 256
"""Longer than any line of readings; what goes on longer is no line."""
MAX_VALUES = 64

_NUMBER = re.compile(
    r"([+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})(?:[eE][+-]?[0-9]{1,2})?)\s*([°*]?[A-Za-z%]{1,4})?"
)
_COMMA = re.compile(r"[+-]?[0-9]{1,15},[0-9]{1,12}\s*([°*]?[A-Za-z%]{1,4})?")
_COMMA_OR_WHOLE = re.compile(r"[+-]?[0-9]{1,15}(?:,[0-9]{1,12})?")
_LABEL = re.compile(r"[A-Za-z_][^:=,;\t]{0,31}?\s*[:=]")
_BINDING = re.compile(r"\s*[:=]\s*")
_UNIT_APART = re.compile(r"([0-9.])[ ]+([°*]?[A-Za-z%]{1,4})(?=[\s,;]|$)")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_FAULTS = frozenset(
    "nan +nan -nan inf +inf -inf ovf -ovf open short fault err error null none n/a - -- ---".split()  # noqa: SIM905
)
"""Words that stand for a value that the sensor could not give."""
_UNITS: dict[str, tuple[str, float, float]] = {
    "c": ("°C", 1.0, 0.0),
    "f": ("°F", 5.0 / 9.0, -160.0 / 9.0),
    "k": ("K", 1.0, -273.15),
    "g": ("g", 1.0, 0.0),
    "kg": ("kg", 1000.0, 0.0),
    "lb": ("lb", 453.59237, 0.0),
    "lbs": ("lb", 453.59237, 0.0),
    "oz": ("oz", 28.349523125, 0.0),
    "pa": ("Pa", 1.0, 0.0),
    "hpa": ("hPa", 100.0, 0.0),
    "mbar": ("hPa", 100.0, 0.0),
    "kpa": ("kPa", 1000.0, 0.0),
    "ppm": ("ppm", 1.0, 0.0),
}
"""Units that may stand behind a number, and how it becomes one of ours: value * factor + offset.

The pound is exact by the international agreement of 1959; degrees Fahrenheit by definition (NIST SP 811, B.8).
"""


@dataclass(frozen=True, slots=True)
class Values:
    """A line of values.

    Attributes:
        numbers: Values by the number of their column, from 1, or by label, in a unit of ours where they have one; NaN
            where a word says that there is no value.
        words: What is neither number nor such a word, in the same way; also a number with a unit that nobody knows.
        units: Units that stand behind numbers, as they are written properly, in the same way.
        columns: How many columns there are; None where values have labels.
    """

    numbers: Mapping[str, float]
    words: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    columns: int | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """A line without values, such as a header or a comment.

    Attributes:
        text: What it says.
        names: Its words in columns, where it may be a header.
    """

    text: str
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Unreadable:
    """No line of text, or one whose values cannot be told apart; `why` says so."""

    why: str


def read_text_line(data: bytes) -> Values | Remark | Unreadable:
    """Read a line without its end; raises nothing."""
    if len(data) > MAX_LINE_BYTES:
        return Unreadable(f"it is longer than {MAX_LINE_BYTES} characters")
    try:
        text = data.decode("utf-8").strip()
    except UnicodeDecodeError:
        return Unreadable("it has bytes that are no text")
    if _CONTROL.search(text):
        return Unreadable("it has bytes that are no text")
    if not text or text.startswith(("#", "//")):
        return Remark(text)
    text = text.strip("{}").replace('"', "").strip()
    return _labelled(text) if _LABEL.search(text) else _in_columns(text)


def _in_columns(text: str) -> Values | Remark | Unreadable:
    cells, comma = _cells(text)
    if len(cells) > 1 and not cells[-1]:
        cells = cells[:-1]  # a sketch that prints a separator behind each value
    if len(cells) > MAX_VALUES:
        return Unreadable(f"it has {len(cells)} values")
    numbers, words, units = _sorted({str(place): cell for place, cell in enumerate(cells, 1)}, comma)
    if not numbers:
        return Remark(text, tuple(cells))
    return Values(numbers, words, units, len(cells))


def _labelled(text: str) -> Values | Remark | Unreadable:
    bound = _BINDING.sub("=", text)
    items, comma = _cells(_UNIT_APART.sub(r"\1\2", bound))
    if any(item.count("=") > 1 for item in items):
        items = [word for item in items for word in item.split()]
    found: dict[str, str] = {}
    for item in items:
        label, binds, cell = item.partition("=")
        label = label.strip()
        # A number in a label's place is what damage leaves of one; a bench file would take it for a column.
        if not binds or not label or label.isdecimal():
            continue
        if label in found:
            return Unreadable(f"it has {label} twice")
        found[label] = cell.strip()
    if len(found) > MAX_VALUES:
        return Unreadable(f"it has {len(found)} values")
    numbers, words, units = _sorted(found, comma)
    return Values(numbers, words, units) if numbers else Remark(text)


def _cells(text: str) -> tuple[list[str], bool]:
    """Cut a line into cells; whether a comma in them is a decimal mark."""
    for mark in (";", "\t"):
        if mark in text:
            return [cell.strip() for cell in text.split(mark)], True
    words = text.split()
    if "," not in text:
        return words, False
    if len(words) > 1 and all(_COMMA_OR_WHOLE.fullmatch(word.rpartition("=")[2]) for word in words):
        return words, True
    return [cell.strip() for cell in text.split(",")], False


def _sorted(cells: Mapping[str, str], comma: bool) -> tuple[dict[str, float], dict[str, str], dict[str, str]]:
    """Return the numbers, the words and the units of some cells; empty cells are neither."""
    numbers: dict[str, float] = {}
    words: dict[str, str] = {}
    units: dict[str, str] = {}
    for name, cell in cells.items():
        if not cell:
            continue
        plain = cell.replace(",", ".") if comma and _COMMA.fullmatch(cell) else cell
        if cell.lower() in _FAULTS:
            numbers[name] = float("nan")
        elif (match := _NUMBER.fullmatch(plain)) and not match[2]:
            numbers[name] = float(match[1])
        elif match and (unit := _UNITS.get(match[2].lower().strip("°*").removeprefix("deg"))):
            units[name], factor, offset = unit
            numbers[name] = float(match[1]) * factor + offset
        else:
            words[name] = cell
    return numbers, words, units


def in_order(names: Sequence[str]) -> list[str]:
    """Return columns in the order of their numbers, or labels as they come."""
    return sorted(names, key=int) if all(name.isdecimal() for name in names) else list(names)
