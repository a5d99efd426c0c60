"""Events of a trial, and the phases between them."""

from dataclasses import dataclass, replace
from enum import StrEnum

from uncertainties import UFloat


class EventKind(StrEnum):
    """What can happen to a stove on a bench."""

    LIT = "lit"
    POT_ON = "pot_on"
    BOIL = "boil"
    POT_OFF = "pot_off"
    REFUEL = "refuel"
    FLAMEOUT = "flameout"
    STEP = "step"
    NOTE = "note"


class Phase(StrEnum):
    """Phases of a trial, in their order."""

    WAITING = "waiting"
    KINDLING = "kindling"
    FLAMING = "flaming"
    CHAR = "char"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class Event:
    """One event with its evidence.

    Attributes:
        kind: What happened.
        t_s: When, in seconds from the trial's first sample.
        u_s: Standard uncertainty of `t_s`, seconds.
        evidence: Words and numbers for a person who wants to check it.
        size_g: Change of load, positive for what was added; None where the event has none.
        confirmed: Whether the probes' uncertainty lets it be told apart from what looks like it.
        announced_t_s: When a live run announced it; None where it only came out of the final pass.
        by_person: Whether a person set it.
        revised_t_s: When a live run last said that it is another than was announced; None where it never did.
    """

    kind: EventKind
    t_s: float
    u_s: float
    evidence: str
    size_g: UFloat | None = None
    confirmed: bool = True
    announced_t_s: float | None = None
    by_person: bool = False
    revised_t_s: float | None = None

    def announced(self, t_s: float | None) -> "Event":
        """Return the event with the moment at which a live run announced it."""
        return replace(self, announced_t_s=t_s)

    def later(self, by_s: float) -> "Event":
        """Return the event on a record that began earlier by so many seconds."""
        return replace(self, t_s=self.t_s + by_s)


@dataclass(frozen=True, slots=True)
class Retraction:
    """An event that a live run announced and later took back."""

    kind: EventKind
    announced_t_s: float
    retracted_t_s: float
    why: str


def first(events: tuple[Event, ...], kind: EventKind) -> Event | None:
    """Return the earliest event of a kind, or None."""
    return min((event for event in events if event.kind is kind), key=lambda event: event.t_s, default=None)


def last(events: tuple[Event, ...], kind: EventKind) -> Event | None:
    """Return the latest event of a kind, or None."""
    return max((event for event in events if event.kind is kind), key=lambda event: event.t_s, default=None)
