"""The list of trials as a person looks through it: searched, filtered, sorted, a page at a time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from emberline.reports.wording import HEADLINES

PER_PAGE = 50
BEGAN = "began"
"""Sorting by when a trial began."""
SORTS = (BEGAN, *HEADLINES)
"""What trials can be sorted by."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A result as a list needs it: its value, its standard uncertainty, its unit."""

    value: float
    u: float
    unit: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One trial in the list.

    Attributes:
        id: Its id.
        bench: Id of its bench.
        name: Its label, or what else names it; empty where nothing does.
        began: When it began, as a person reads it; empty where nobody knows.
        began_ns: The same, UTC nanoseconds.
        running: Whether it goes on.
        behind: Whether its summary is being worked out.
        provisional: Whether its figures will change, since it goes on.
        factors: Its factors.
        notes: Remarks of a person.
        results: Its results by name.
        spark: Points of its burning rate, g/min.
        excluded: Why a person excluded it; None where it counts.
        corrected: Whether a person corrected it.
        unconfirmed_boil: Whether a boil could not be told from what looks like one.
        failed: Why its burn cannot be told as a whole; None where it can.
    """

    id: str
    bench: str
    name: str
    began: str
    began_ns: int
    running: bool = False
    behind: bool = False
    provisional: bool = False
    factors: Mapping[str, str] = field(default_factory=dict)
    notes: Sequence[str] = ()
    results: Mapping[str, Figure] = field(default_factory=dict)
    spark: Sequence[float | None] = ()
    excluded: str | None = None
    corrected: bool = False
    unconfirmed_boil: bool = False
    failed: str | None = None

    def holds(self, words: Sequence[str]) -> bool:
        """Tell whether every one of some words, in small letters, is somewhere in what a person wrote."""
        text = "\n".join(
            (self.id, self.name, *(f"{name} {value}" for name, value in self.factors.items()), *self.notes)
        ).casefold()
        return all(word in text for word in words)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person looks for.

    Attributes:
        text: Words that must be in label, factors or remarks.
        factors: Factors with the value that they must have.
        bench: Id of the bench; empty for all.
        sort: One of `SORTS`.
        falling: Whether the greatest comes first.
        page: Which page, from 1.
    """

    text: str = ""
    factors: Mapping[str, str] = field(default_factory=dict)
    bench: str = ""
    sort: str = BEGAN
    falling: bool = True
    page: int = 1


@dataclass(frozen=True, slots=True)
class Found:
    """One page of the trials that a person looked for.

    Attributes:
        entries: Those of the page.
        total: How many there are on all pages.
        page: Which page it is, from 1.
        pages: How many pages there are, at least 1.
        first: Number of the first entry, from 1; 0 where there is none.
    """

    entries: tuple[Entry, ...]
    total: int
    page: int
    pages: int
    first: int


def find(entries: Sequence[Entry], wanted: Wanted) -> Found:
    """Return the page of trials that a person asks for; the last one where it lies beyond.

    What has no such result comes last, whichever way it is sorted; among equals the newest comes first.
    """
    words = wanted.text.casefold().split()
    found = [
        entry
        for entry in entries
        if (not wanted.bench or entry.bench == wanted.bench)
        and all(entry.factors.get(name) == value for name, value in wanted.factors.items())
        and entry.holds(words)
    ]
    found.sort(key=lambda entry: entry.began_ns, reverse=True)
    if wanted.sort == BEGAN:
        found = found if wanted.falling else found[::-1]
    else:
        sign = -1.0 if wanted.falling else 1.0
        known = [entry for entry in found if wanted.sort in entry.results]
        known.sort(key=lambda entry: sign * entry.results[wanted.sort].value)
        found = known + [entry for entry in found if wanted.sort not in entry.results]
    pages = max(1, -(-len(found) // PER_PAGE))
    page = min(max(1, wanted.page), pages)
    start = (page - 1) * PER_PAGE
    return Found(tuple(found[start : start + PER_PAGE]), len(found), page, pages, start + 1 if found else 0)


def factor_values(entries: Sequence[Entry]) -> dict[str, list[str]]:
    """Return all factors with the values that they have somewhere, both in alphabetical order."""
    values: dict[str, set[str]] = {}
    for entry in entries:
        for name, value in entry.factors.items():
            values.setdefault(name, set()).add(value)
    return {name: sorted(values[name]) for name in sorted(values)}
