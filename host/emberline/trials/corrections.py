"""What a person changed of a trial: events, the plan, whether it counts. Nothing is overwritten; each entry is kept.

The corrections of a trial are numbered from 1 in the order in which they were made. An undoing is an entry like the
others, so that it can be undone too. What stands is what no standing undoing names.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from emberline.bench.plan_values import PlanValue
from emberline.curves.events import Event, EventKind
from emberline.curves.words import Word, with_words

CORRECTABLE = (
    EventKind.LIT,
    EventKind.POT_ON,
    EventKind.BOIL,
    EventKind.POT_OFF,
    EventKind.REFUEL,
    EventKind.FLAMEOUT,
    EventKind.STEP,
)
"""Kinds of events that a person may set; remarks are the other thing that can be added."""
BY_HAND_U_S = 1.0
"""Standard uncertainty of a moment that a person names and says no more of (common practice, no source)."""
LONGEST_TEXT = 500


class CorrectionError(Exception):
    """A correction cannot be made; the message says what to do.

    Attributes:
        field: Name of the field that it is about; empty where it is about none.
    """

    def __init__(self, text: str, field: str = "") -> None:
        super().__init__(text)
        self.field = field


@dataclass(frozen=True, slots=True)
class Target:
    """The event that a correction is about.

    Attributes:
        kind: Its kind.
        t_s: Where it was before, seconds from the trial's first sample.
        of: Number of the correction that had set it; None where it was found in the curves.
        announced_t_s: When a live run had announced it, to be known if it is put back; None where none did.
    """

    kind: EventKind
    t_s: float
    of: int | None = None
    announced_t_s: float | None = None


@dataclass(frozen=True, slots=True)
class AddEvent:
    """An event that a person saw; it takes the place of the nearest found one of its kind."""

    kind: EventKind
    t_s: float
    u_s: float


@dataclass(frozen=True, slots=True)
class MoveEvent:
    """An event was at another moment."""

    target: Target
    t_s: float
    u_s: float


@dataclass(frozen=True, slots=True)
class DeleteEvent:
    """An event did not happen."""

    target: Target


@dataclass(frozen=True, slots=True)
class EditPlan:
    """Values of the plan by key: before and after, None where there is none."""

    values: Mapping[str, tuple[PlanValue | None, PlanValue | None]]


@dataclass(frozen=True, slots=True)
class Exclude:
    """The trial does not count, for the reason given."""


@dataclass(frozen=True, slots=True)
class Include:
    """The trial counts again."""


@dataclass(frozen=True, slots=True)
class Undo:
    """A correction, by its number, is taken back."""

    of: int


Change = AddEvent | MoveEvent | DeleteEvent | EditPlan | Exclude | Include | Undo


@dataclass(frozen=True, slots=True)
class Correction:
    """One entry.

    Attributes:
        number: From 1, in the order in which they were made.
        made_ns: When, UTC nanoseconds.
        who: Who made it.
        why: In words; may be empty where the change speaks for itself.
        change: What was changed.
    """

    number: int
    made_ns: int
    who: str
    why: str
    change: Change


Log = Sequence[Correction]
"""All corrections of a trial, in their order."""


def standing(log: Log) -> list[Correction]:
    """Return the corrections that hold: those that no undoing which holds has taken back."""
    undone: set[int] = set()
    held = []
    for entry in reversed(log):
        if entry.number in undone:
            continue
        if isinstance(entry.change, Undo):
            undone.add(entry.change.of)
        held.append(entry)
    return held[::-1]


def undone_by(log: Log) -> dict[int, int]:
    """Return, for each correction that was taken back, the number of the undoing that holds."""
    return {entry.change.of: entry.number for entry in standing(log) if isinstance(entry.change, Undo)}


def exclusion(log: Log) -> Correction | None:
    """Return the correction by which the trial is excluded; None where it counts."""
    last = [entry for entry in standing(log) if isinstance(entry.change, Exclude | Include)][-1:]
    return last[0] if last and isinstance(last[0].change, Exclude) else None


def words(log: Log) -> dict[int, Word]:
    """Return what a person says of events, by the number of the correction that said so last."""
    said: dict[int, Word] = {}
    for entry in standing(log):
        match entry.change:
            case AddEvent(kind, t_s, u_s):
                said[entry.number] = Word(kind, None, _set(entry, kind, t_s, u_s))
            case MoveEvent(target, t_s, u_s):
                before = _before(said, target)
                said[entry.number] = replace(before, event=_set(entry, target.kind, t_s, u_s))
            case DeleteEvent(target):
                before = _before(said, target)
                found_s = target.t_s if before.found_s is None else before.found_s
                said[entry.number] = Word(target.kind, found_s, None)
            case _:
                pass
    return said


def put_back(log: Log) -> list[Event]:
    """Return the announcements of found events that a person had moved or deleted, where that was taken back."""
    held = {entry.number for entry in standing(log)}
    targets = [
        (entry.number, entry.change.target) for entry in log if isinstance(entry.change, MoveEvent | DeleteEvent)
    ]
    changed = {(target.kind, target.announced_t_s) for number, target in targets if number in held}
    back = {
        (target.kind, target.announced_t_s): target.t_s
        for number, target in targets
        if number not in held and target.announced_t_s is not None
    }
    return [
        Event(kind, t_s, 0.0, "", announced_t_s=said_s)
        for (kind, said_s), t_s in back.items()
        if (kind, said_s) not in changed
    ]


def with_corrections(events: Sequence[Event], log: Log, start_ns: int) -> list[Event]:
    """Return the events of a trial as its corrections leave them: a person's in the place of those that were found.

    Args:
        events: What was found or announced, remarks, and what earlier corrections set.
        log: All corrections so far.
        start_ns: UTC nanoseconds of the trial's first sample; a person's event is announced when it is set.
    """
    made_ns = {entry.number: entry.made_ns for entry in log}
    found = [*(event for event in events if not event.by_person), *remarks_meanwhile(events, log)]
    # One that was read with the record already knows its load.
    read = {(event.kind, event.t_s): event for event in events if event.by_person}
    said = []
    for number, word in words(log).items():
        if word.event is not None:
            event = read.get((word.kind, word.event.t_s), word.event)
            word = replace(word, event=event.announced((made_ns[number] - start_ns) / 1e9))
        said.append(word)
    return with_words(found, said)


def remarks_meanwhile(events: Sequence[Event], log: Log) -> list[Event]:
    """Return the remarks among events that were made while it burnt, and not by a correction, held or taken back."""
    added = {(one.change.t_s, one.why) for one in log if isinstance(one.change, AddEvent)}
    return [event for event in events if event.kind is EventKind.NOTE and (event.t_s, event.evidence) not in added]


def set_by(log: Log, event: Event) -> int | None:
    """Return the number of the correction that set an event; None where it was found in the curves."""
    if not event.by_person:
        return None
    mine = (event.kind, event.t_s)
    return next(
        (number for number, word in words(log).items() if word.event and (word.kind, word.event.t_s) == mine), None
    )


def _before(said: dict[int, Word], target: Target) -> Word:
    """Take out what was said of a target before."""
    if target.of is not None and target.of in said:
        return said.pop(target.of)
    return Word(target.kind, target.t_s, None)


def _set(entry: Correction, kind: EventKind, t_s: float, u_s: float) -> Event:
    # A remark is what was said; who said it is in the log.
    evidence = entry.why if kind is EventKind.NOTE else f"set by {entry.who}" + (f": {entry.why}" if entry.why else "")
    return Event(kind, t_s, u_s, evidence, by_person=True)
