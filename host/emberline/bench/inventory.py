"""What is used for one burn after another: fuel lots, pots and stoves, and what each of them puts into a plan.

An entry is a small TOML text. Its numbers are keys of the plan, with the plan's ranges, hints and assumed
uncertainties (`plan_quantities.QUANTITIES`), so a plan made from an entry is one that a person could have written.

| kind | numbers | words |
|---|---|---|
| `lot` | moisture, heating values, ash, as in `[fuel]` | `fuel`, and how, when and by whom they were found |
| `pot` | `tare_g`, `lid_g`, `heat_capacity_j_k`, as in `[pot]` | `material`, and the flag `lid` |
| `stove` | `tare_g`, empty | |

All have a `name`, and may have a `remark`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from emberline.bench import fuels
from emberline.bench.errors import PlanError, Problem, TextError
from emberline.bench.plan import parse_plan
from emberline.bench.plan_quantities import QUANTITIES
from emberline.bench.toml_reading import Reading, Section
from emberline.bench.toml_writing import written

MOST_NAME = 80
"""Letters of a name; a phone shows no more in a list."""


class InventoryError(TextError):
    """An entry cannot be used."""


class Kind(StrEnum):
    """What an entry is about."""

    LOT = "lot"
    POT = "pot"
    STOVE = "stove"


NUMBERS: Mapping[Kind, tuple[str, ...]] = {
    Kind.LOT: (
        "moisture_wet",
        "moisture_dry",
        "lhv_dry_j_g",
        "hhv_dry_j_g",
        "hydrogen_fraction",
        "lhv_as_fired_j_g",
        "char_lhv_j_g",
        "ash_fraction",
    ),
    Kind.POT: ("tare_g", "lid_g", "heat_capacity_j_k"),
    Kind.STOVE: ("tare_g",),
}
"""Numbers of each kind of entry, in the order in which a person is asked for them."""
WORDS: Mapping[Kind, tuple[str, ...]] = {
    Kind.LOT: ("fuel", "moisture_date", "moisture_method", "heating_value_source", "remark"),
    Kind.POT: ("material", "remark"),
    Kind.STOVE: ("remark",),
}
"""Words of each kind of entry."""
_IN_PLAN = {Kind.LOT: "fuel", Kind.POT: "pot"}


@dataclass(frozen=True, slots=True)
class Entry:
    """A fuel lot, a pot or a stove.

    Attributes:
        kind: Which of them.
        name: Its name for people, and in the plans made from it.
        numbers: Its numbers by key, with `u_<key>` where the person said how sure.
        words: What else was said.
        lid: Whether a pot has a lid.
    """

    kind: Kind
    name: str
    numbers: Mapping[str, float] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    lid: bool = False

    @property
    def text(self) -> str:
        """The entry as TOML, which reads as the same entry."""
        flag = {"lid": True} if self.lid else {}
        return written({"name": self.name, **self.words, **flag, **self.numbers})

    @property
    def plan(self) -> dict[str, Any]:
        """What it puts into a plan, as tables; of a lot also its name, which makes its heating value a shared one."""
        if self.kind is Kind.STOVE:
            return {"factors": {"stove": self.name}}
        if self.kind is Kind.LOT:
            factors = {"factors": {"fuel": self.words["fuel"]}} if "fuel" in self.words else {}
            return {**factors, "fuel": {"lot": self.name, **self.numbers}}
        material = {"material": self.words["material"]} if "material" in self.words else {}
        return {"factors": {"pot": self.name}, "pot": {"lid": self.lid, **material, **self.numbers}}


def parse_entry(kind: Kind, text: str) -> Entry:
    """Read an entry from TOML.

    Raises:
        InventoryError: listing everything wrong with the text.
    """
    reading = Reading(text)
    root = reading.root
    name = root.text("name")
    if name is None or len(name) > MOST_NAME:
        root.complain("name", f"a {kind.value} needs a name of at most {MOST_NAME} letters, by which you know it again")
    words = {key: word for key in WORDS[kind] if (word := _word(root, key)) is not None}
    numbers: dict[str, float] = {}
    for key in NUMBERS[kind]:
        number = root.uncertain(key, QUANTITIES[key])
        if number is not None:
            numbers[key] = float(number.nominal_value)
            if f"u_{key}" in root:
                numbers[f"u_{key}"] = float(number.std_dev)
    lid = bool(root.flag("lid")) if kind is Kind.POT else False
    root.close()
    entry = Entry(kind, (name or "").strip(), numbers, words, lid)
    problems = list(reading.problems) or _contradictions(entry, text)
    if problems:
        raise InventoryError(tuple(problems))
    return entry


def _word(root: Section, key: str) -> str | None:
    if key == "material":
        return root.choice(key, fuels.POT_HEAT_CAPACITY_J_GK)
    word = root.text(key)
    if word is not None and key == "moisture_date":
        try:
            date.fromisoformat(word)
        except ValueError:
            root.complain(key, f"{key} = {word!r} is no date: write it like 2026-10-12")
    return word


def _contradictions(entry: Entry, text: str) -> list[Problem]:
    """Return what a plan made from the entry would be refused for, at the entry's own lines."""
    table = _IN_PLAN.get(entry.kind)
    if table is None:
        return []
    try:
        parse_plan(written({table: entry.plan[table]}))
    except PlanError as error:
        lines = {line.partition("=")[0].strip(): number for number, line in enumerate(text.splitlines(), 1)}
        found = []
        for problem in error.problems:
            named = [word for word in problem.text.replace(",", " ").split() if word in lines]
            found.append(Problem(problem.text, lines[named[-1]] if named else None))
        return found
    return []
