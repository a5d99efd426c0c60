"""Describes the keys of a plan and of a bench file.

Which keys there are, what they take and what is assumed of them comes from the readers themselves: they ask for every
key that they know, whatever a file holds, and here they are listened to. What a key means in words comes from the
tables of the contracts in DEVELOPERS.md; a key without a meaning there stops the building.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from documentation.tables import code, table
from emberline.bench.bench_file import parse_bench
from emberline.bench.errors import TextError
from emberline.bench.plan import parse_plan
from emberline.bench.toml_reading import Quantity, Section

CONTRACTS = Path(__file__).parents[2] / "DEVELOPERS.md"
WHOLE = "whole number"
_WORDS = {"text": "text", "flag": "`true` or `false`", "words": "table of words", "texts": "list of texts"}


class UnexplainedError(Exception):
    """The contracts do not say what a key means."""


@dataclass(frozen=True)
class Key:
    """One key of a file.

    Attributes:
        table: The table in which it stands, such as `pot.visit`; empty for the top of the file.
        name: The key.
        takes: What may be written there, in words.
        assumed: The standard uncertainty that is assumed without `u_…` beside it; empty where it has none.
    """

    table: str
    name: str
    takes: str
    assumed: str = ""


def plan_keys() -> str:
    """Return the tables of a plan's keys."""
    return _tables(asked_for(parse_plan), "### Plan file", assumed=True)


def bench_keys() -> str:
    """Return the tables of a bench file's keys."""
    return _tables(asked_for(parse_bench), "### Bench file", assumed=False)


def asked_for(read: Callable[[str], object]) -> list[Key]:
    """Return the keys for which a reader asks, in its order."""
    heard: list[Key] = []
    with _listening(heard), suppress(TextError):
        read("")
    return list(dict.fromkeys(heard))


@contextmanager
def _listening(heard: list[Key]) -> Iterator[None]:
    """Have every section note what it is asked for, and have every table that it is asked for, though empty."""
    quiet = False

    def hear(section: Section, name: str, takes: str, assumed: str = "") -> None:
        if not quiet:
            path = ".".join(part for part in section._path if isinstance(part, str))
            heard.append(Key(path, name, takes, assumed))

    def plain(kind: str) -> Callable[[Section, str], None]:
        return lambda section, key: hear(section, key, _WORDS[kind])

    def number(section: Section, key: str, quantity: Quantity) -> None:
        hear(section, key, _range("number", quantity))

    def whole(section: Section, key: str, quantity: Quantity) -> None:
        hear(section, key, _range(WHOLE, quantity))

    def uncertain(section: Section, key: str, quantity: Quantity) -> None:
        hear(section, key, _range("number", quantity), _assumed(quantity))

    def choice(section: Section, key: str, choices: Iterable[str]) -> None:
        hear(section, key, "one of " + ", ".join(code(f'"{word}"') for word in _listed(choices)))

    def choices(section: Section, key: str, choices: Iterable[str]) -> None:
        hear(section, key, "list of " + ", ".join(code(f'"{word}"') for word in _listed(choices)))

    def words(section: Section, key: str) -> dict[str, str]:
        hear(section, key, _WORDS["words"])
        return {}

    def section(parent: Section, key: str) -> Section:
        return Section(parent._reading, (*parent._path, key), {})

    def sections(parent: Section, key: str) -> list[Section]:
        return [Section(parent._reading, (*parent._path, key, 0), {})]

    heard_by: dict[str, Any] = {
        "text": plain("text"),
        "flag": plain("flag"),
        "texts": plain("texts"),
        "words": words,
        "number": number,
        "whole": whole,
        "uncertain": uncertain,
        "choice": choice,
        "choices": choices,
        "section": section,
        "sections": sections,
    }
    with mock.patch.multiple(Section, **heard_by):
        yield


def _listed(choices: Iterable[str]) -> list[str]:
    return [str(word) for word in choices]


def _range(kind: str, quantity: Quantity) -> str:
    unit = f" {_UNITS.get(quantity.unit, quantity.unit)}" if quantity.unit else ""
    low, high = quantity.low, quantity.high
    if low == float("-inf") and high == float("inf"):
        return f"{kind}{unit}"
    if high == float("inf"):
        return f"{kind}, {_plain(low)}{unit} or more"
    return f"{kind}, {_plain(low)} to {_plain(high)}{unit}"


_UNITS = {"degC": "°C"}


def _plain(value: float) -> str:
    return f"{value:,.10g}" if abs(value) >= 10_000 else f"{value:g}"


def _assumed(quantity: Quantity) -> str:
    unit = f" {_UNITS.get(quantity.unit, quantity.unit)}" if quantity.unit else ""
    return f"{quantity.u:g}{unit}" if quantity.u else f"{100.0 * quantity.u_relative:g} %"


def meanings(heading: str) -> dict[tuple[str, str], str]:
    """Return what the contracts say under a heading of each key, by its table and its name."""
    text = CONTRACTS.read_text(encoding="utf-8").partition(f"\n{heading}\n")[2].partition("\n###")[0]
    found = {("", "format"): "of the file; 1 where it is absent"}
    where = ""
    for names, meaning in re.findall(r"^\| (.+?) \| (.*?) \|$", text, re.MULTILINE):
        for name in re.findall(r"`([^`]+)`", names):
            if name.startswith("["):
                where = name.strip("[]")
            elif re.fullmatch(r"\w+", name):
                found[where, name] = meaning
    return found


def _tables(keys: list[Key], heading: str, *, assumed: bool) -> str:
    said = meanings(heading)
    unexplained = [f"{key.table} {key.name}".strip() for key in keys if (key.table, key.name) not in said]
    if unexplained:
        raise UnexplainedError(f"{CONTRACTS.name}, {heading}: nothing is said of {', '.join(unexplained)}")
    parts = []
    for where in dict.fromkeys(key.table for key in keys):
        rows = [
            [code(key.name), said[where, key.name], key.takes, *([key.assumed] if assumed else [])]
            for key in keys
            if key.table == where
        ]
        parts.append(f"### {_title(where)}\n")
        parts.append(table(["key", "meaning", "takes", *(["assumed ±"] if assumed else [])], rows))
    return "\n".join(parts)


def _title(where: str) -> str:
    """Return the heading of a table's keys, bracketed as a person writes it."""
    if not where:
        return "At the top"
    several = where in ("channel", "channel.point", "channel.calibration", "pot.visit", "refuel")
    return f"`[[{where}]]`" if several else f"`[{where}]`"
