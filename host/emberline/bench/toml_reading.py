"""Reading TOML that a person wrote: every problem found, with its line and the nearest known key."""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite

from uncertainties import UFloat, ufloat

from emberline.bench.errors import Problem

FORMAT = 1
"""The only format number understood so far; a text without one has it."""

SURE = 1e-9
"""Standard uncertainty of a number that nobody doubts; the `uncertainties` package warns of exactly 0."""

Path = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\"' -]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_.\"'-]+)\s*=")
_AT_LINE = re.compile(r"\s*\(at line (\d+), column (\d+)\)")
_QUOTED = re.compile(r"""(?:\"{3}|'{3})|"(?:[^"\\]|\\.)*"|'[^']*'|\#.*|(?P<alone>["'])""")
_DECIMAL_COMMA = re.compile(r"=\s*([+-]?\d+),(\d+)")


@dataclass(frozen=True, slots=True)
class Hint:
    """What a person probably meant by a number within `low` to `high`."""

    low: float
    high: float
    text: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """What a number in a text may be, and how uncertain it is where the text does not say.

    Attributes:
        low: Least physical value.
        high: Greatest physical value.
        unit: Unit for messages.
        u: Standard uncertainty assumed, in the unit.
        u_relative: Standard uncertainty assumed, relative; the larger of the two holds.
        zero_is_sure: Whether 0 says that there was none, which nobody doubts.
        hints: What a number out of range probably was.
    """

    low: float
    high: float
    unit: str
    u: float = 0.0
    u_relative: float = 0.0
    zero_is_sure: bool = False
    hints: tuple[Hint, ...] = ()

    def problem(self, value: float) -> str | None:
        """Return what is wrong with a value, or None."""
        if self.low <= value <= self.high:
            return None
        unit = f" {self.unit}" if self.unit else ""
        text = f"{value:g} is outside {self.low:g} to {self.high:g}{unit}"
        found = next((hint.text for hint in self.hints if hint.low <= value <= hint.high), None)
        return text if found is None else f"{text}: {found}"

    def assumed_u(self, value: float) -> float:
        """Return the standard uncertainty assumed for a value."""
        if self.zero_is_sure and value == 0.0:
            return SURE
        return max(self.u, self.u_relative * abs(value))


class Section:
    """One table of a text: hands out checked values and notes what is wrong.

    A key counts as known once it has been asked for, so every reader asks for all its keys, whatever it finds.
    `close` reports the rest.
    """

    def __init__(self, reading: "Reading", path: Path, table: Mapping[str, object]) -> None:
        self._reading = reading
        self._path = path
        self._table = table
        self._known: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self._table

    def text(self, key: str) -> str | None:
        """Return a string, or None where the key is absent or no string."""
        value = self._ask(key)
        if value is None or (isinstance(value, str) and value.strip()):
            return value
        self.complain(key, f'{key} must be text in quotes, such as {key} = "name"')
        return None

    def choice(self, key: str, choices: Iterable[str]) -> str | None:
        """Return one of some words, or None."""
        value = self.text(key)
        known = list(choices)
        if value is None or value in known:
            return value
        self.complain(key, f"{key} must be one of {', '.join(known)}{nearest(value, known)}")
        return None

    def choices(self, key: str, choices: Iterable[str]) -> list[str] | None:
        """Return a list of some of some words, each once, or None."""
        values, known = self.texts(key), list(choices)
        strange = next((word for word in values or () if word not in known), None)
        if strange is not None:
            self.complain(key, f"{key} holds {strange!r}, and may hold {', '.join(known)}{nearest(strange, known)}")
            return None
        return None if values is None else list(dict.fromkeys(values))

    def texts(self, key: str) -> list[str] | None:
        """Return a list of texts, or None."""
        value = self._ask(key)
        if value is None:
            return None
        if isinstance(value, list) and all(isinstance(word, str) and word.strip() for word in value):
            return [str(word) for word in value]
        self.complain(key, f'{key} must be a list of texts in square brackets, such as {key} = ["one", "two"]')
        return None

    def flag(self, key: str) -> bool | None:
        """Return a true or false, or None."""
        value = self._ask(key)
        if value is None or isinstance(value, bool):
            return value
        self.complain(key, f"{key} must be true or false, without quotes")
        return None

    def number(self, key: str, quantity: Quantity) -> float | None:
        """Return a number within the quantity's range, or None."""
        value = self._ask(key)
        if value is None:
            return None
        number = _finite(value)
        if number is None:
            self.complain(key, f"{key} must be a number, written with a point and without unit or quotes")
            return None
        wrong = quantity.problem(number)
        if wrong is not None:
            self.complain(key, f"{key} = {wrong}")
            return None
        return number

    def whole(self, key: str, quantity: Quantity) -> int | None:
        """Return a whole number within the quantity's range, or None."""
        value = self.number(key, quantity)
        if value is None or value.is_integer():
            return None if value is None else int(value)
        self.complain(key, f"{key} must be a whole number")
        return None

    def uncertain(self, key: str, quantity: Quantity) -> UFloat | None:
        """Return a number with its standard uncertainty from `u_<key>`, else the assumed one; or None.

        The number is one variable, tagged with the key and the tables it stands in.
        """
        value = self.number(key, quantity)
        u_key = f"u_{key}"
        u = self.number(u_key, Quantity(0.0, float("inf"), quantity.unit))
        if u is not None and key not in self._table:
            self.complain(u_key, f"{u_key} has no {key} that it could belong to")
        if u == 0.0:
            self.complain(u_key, f"{u_key} must be above 0: leave it out for the usual {_shown(quantity)}")
            u = None
        if value is None:
            return None
        return ufloat(value, quantity.assumed_u(value) if u is None else u, tag=self.tag(key))

    def words(self, key: str) -> dict[str, str]:
        """Return a table of words, numbers taken as words; empty where absent."""
        value = self._ask(key)
        if value is None:
            return {}
        if not isinstance(value, dict):
            self.complain(key, f'{key} must be a table, such as {key} = {{ fuel = "chips" }}')
            return {}
        words: dict[str, str] = {}
        for name, word in value.items():
            if isinstance(word, bool) or not isinstance(word, str | int | float):
                self.complain(key, f'{key}: {name} must be text in quotes, such as {name} = "12"')
            else:
                words[name] = str(word)
        return words

    def section(self, key: str) -> "Section | None":
        """Return the table `[key]`, or None."""
        value = self._ask(key)
        if value is None:
            return None
        if isinstance(value, dict):
            return Section(self._reading, (*self._path, key), value)
        self.complain(key, f"{key} must be a table: write [{self.tag(key)}] once, and its keys below it")
        return None

    def sections(self, key: str) -> "list[Section]":
        """Return the tables `[[key]]` in order."""
        value = self._ask(key)
        if value is None:
            return []
        if isinstance(value, list) and all(isinstance(item, dict) for item in value):
            return [Section(self._reading, (*self._path, key, index), item) for index, item in enumerate(value)]
        self.complain(key, f"{key} must be a list of tables: write [[{self.tag(key)}]] with doubled brackets")
        return []

    def tag(self, key: str) -> str:
        """Return the key with the tables it stands in; lists count from 1."""
        return ".".join(str(part + 1 if isinstance(part, int) else part) for part in (*self._path, key))

    def complain(self, key: str, text: str) -> None:
        """Note a problem at a key."""
        self._reading.problem((*self._path, key), text)

    def close(self) -> None:
        """Report every key that nobody asked for."""
        for key in self._table:
            if key not in self._known:
                where = f" in [{'.'.join(str(part) for part in self._path if isinstance(part, str))}]"
                self.complain(key, f"unknown key {key}{where if self._path else ''}{nearest(key, sorted(self._known))}")

    def _ask(self, key: str) -> object:
        self._known.add(key)
        return self._table.get(key)


class Reading:
    """A TOML text being read, with the problems found so far."""

    def __init__(self, text: str) -> None:
        self._problems: list[Problem] = []
        self._lines: dict[Path, int] = {}
        table: Mapping[str, object] = {}
        try:
            table = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            # The parser's own error is a ValueError; numbers of thousands of digits raise a plain one.
            self._problems.append(_syntax_problem(str(error), text))
        else:
            self._lines = _lines_of_keys(text)
        self.readable = not self._problems
        self.root = Section(self, (), table)
        number = self.root.whole("format", Quantity(float("-inf"), float("inf"), ""))
        if number is not None and number != FORMAT:
            self.problem(("format",), f"format {number} is not known to this version: it reads format = {FORMAT}")

    @property
    def problems(self) -> tuple[Problem, ...]:
        """The problems so far, in the order of the lines."""
        return tuple(sorted(self._problems, key=lambda problem: problem.line or 0))

    def problem(self, path: Path, text: str) -> None:
        """Note a problem at a key; an inline table's keys are found at the table's line."""
        line = next((self._lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._lines), None)
        self._problems.append(Problem(text, line))


def nearest(word: str, known: Iterable[str]) -> str:
    """Return `; did you mean …?` for the known word most like one that is not known, or nothing."""
    found = get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f"; did you mean {found[0]}?" if found else ""


def _finite(value: object) -> float | None:
    """Return a number as a float; None for anything else, infinities and integers too large to be meant."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if isfinite(number) else None


def _shown(quantity: Quantity) -> str:
    return f"{quantity.u:g} {quantity.unit}".strip() if quantity.u else f"{100.0 * quantity.u_relative:g} %"


def _syntax_problem(message: str, text: str) -> Problem:
    """Return why a text is not TOML, in plain words where it is one of the usual slips."""
    at = _AT_LINE.search(message)
    lines = text.split("\n")
    # A quote that is never closed may carry the parser to the end of the text, where it knows of no line any more.
    open_ones = (number for number, line in enumerate(lines, start=1) if _half_quoted(line))
    number = int(at.group(1)) if at else next(open_ones, None)
    line = "" if number is None or number > len(lines) else lines[number - 1]
    if _half_quoted(line):
        return Problem('not TOML: a quote is missing: a text stands between two, as in label = "sticks"', number)
    if comma := _DECIMAL_COMMA.search(line):
        return Problem(
            f"not TOML: decimals have a point: write {comma[1]}.{comma[2]}, not {comma[1]},{comma[2]}", number
        )
    return Problem(f"not TOML: {_AT_LINE.sub('', message)}", number)


def _half_quoted(line: str) -> bool:
    """Return whether a line has a quote without its second; quotes of texts over several lines count as pairs."""
    return any(found["alone"] for found in _QUOTED.finditer(line))


def _lines_of_keys(text: str) -> dict[Path, int]:
    """Return the line of every table and key that begins a line.

    The text is known to be TOML. Lines of a multi-line value may add paths that do not exist; nobody asks for those.
    """
    lines: dict[Path, int] = {}
    prefix: Path = ()
    counts: dict[Path, int] = {}
    for number, line in enumerate(text.split("\n"), start=1):
        if header := _HEADER.match(line):
            prefix = ()
            parts = _parts(header.group(2))
            for position, part in enumerate(parts):
                prefix = (*prefix, part)
                if header.group(1) == "[[" and position == len(parts) - 1:
                    counts[prefix] = counts.get(prefix, -1) + 1
                if prefix in counts:
                    lines.setdefault(prefix, number)
                    prefix = (*prefix, counts[prefix])
            lines.setdefault(prefix, number)
        elif key := _KEY.match(line):
            path = prefix
            for part in _parts(key.group(1)):
                path = (*path, part)
                lines.setdefault(path, number)
    return lines


def _parts(dotted: str) -> list[str]:
    return [part.strip().strip("\"'") for part in dotted.split(".")]
