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
LEAST_U_S, MOST_U_S = 0.1, 600.0
"""Standard uncertainties that a person may give a moment."""
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
    """

    kind: EventKind
    t_s: float
    of: int | None = None


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


def checked(log: Log, change: Change, seen: int) -> Change:
    """Return a change that may be made now.

    Args:
        log: All corrections so far.
        change: What is to be changed.
        seen: Number of the last correction that the person knew of.

    Raises:
        CorrectionError: It cannot be made.
    """
    match change:
        case AddEvent(_, t_s, u_s) | MoveEvent(_, t_s, u_s):
            _check_moment(t_s, u_s)
        case EditPlan(values) if not values:
            raise CorrectionError("nothing was changed in the plan", "plan")
        case Exclude() if exclusion(log) is not None:
            raise CorrectionError("this trial is excluded already", "why")
        case Include() if exclusion(log) is None:
            raise CorrectionError("this trial is not excluded", "why")
        case Undo(of):
            _check_undo(log, of)
        case _:
            pass
    if isinstance(change, MoveEvent | DeleteEvent):
        _check_target(log, change.target)
    about = _subjects(log, change, None)
    for entry in log:
        if entry.number > seen and _subjects(log, entry.change, entry.number) & about:
            raise CorrectionError(
                f"{entry.who} changed the same meanwhile (correction {entry.number}): look at the trial as it is now, "
                "then decide again"
            )
    return change


def plan_after(log: Log, change: Change) -> dict[str, PlanValue | None]:
    """Return the values of the plan that a change, made now, sets; None for those that it takes out."""
    if isinstance(change, EditPlan):
        return {key: after for key, (_, after) in change.values.items()}
    base = _base(log, change)
    if not isinstance(base.change, EditPlan):
        return {}
    held = {entry.number for entry in standing([*log, _next(log, change)])}
    side = 1 if base.number in held else 0
    return {key: value[side] for key, value in base.change.values.items()}


def _check_moment(t_s: float, u_s: float) -> None:
    if not t_s >= 0.0:
        raise CorrectionError("the moment lies before the record began", "t")
    if not LEAST_U_S <= u_s <= MOST_U_S:
        raise CorrectionError(
            f"how sure the moment is: between {LEAST_U_S:g} and {MOST_U_S:g} seconds, one standard uncertainty", "u_s"
        )


def _check_target(log: Log, target: Target) -> None:
    said = words(log)
    if target.kind is EventKind.NOTE:
        raise CorrectionError("a remark stays as it was said; one that was added afterwards can be taken back", "event")
    if target.of is not None:
        word = said.get(target.of)
        if word is None or word.event is None or word.kind is not target.kind:
            raise CorrectionError("that event was changed meanwhile: look at the trial as it is now, then decide again")
    elif any(word.kind is target.kind and word.found_s == target.t_s for word in said.values()):
        raise CorrectionError("that event was changed already: look at the trial as it is now, then decide again")


def _check_undo(log: Log, of: int) -> None:
    entry = next((one for one in log if one.number == of), None)
    if entry is None:
        raise CorrectionError(f"there is no correction {of}")
    if of not in {one.number for one in standing(log)}:
        raise CorrectionError(f"correction {of} was taken back already")
    clash = _clash(log, [*log, _next(log, Undo(of))])
    if clash is not None:
        raise CorrectionError(f"correction {clash.number} by {clash.who} builds on this one: undo that first")


def _clash(before: Log, log: Log) -> Correction | None:
    """Return the first correction that stands on what does not hold (any more); None where all fit together.

    Args:
        before: All corrections so far; the earliest one of a value knows what it was before any.
        log: The corrections with one more.
    """
    last: dict[str, int] = {}
    plan: dict[str, PlanValue | None] = {}
    for entry in reversed(before):
        if isinstance(entry.change, EditPlan):
            plan |= {key: value[0] for key, value in entry.change.values.items()}
    counts = True
    for entry in standing(log):
        match entry.change:
            case MoveEvent(target) | DeleteEvent(target):
                root = _root(log, target)
                if last.get(root) != target.of:
                    return entry
                last[root] = entry.number
            case AddEvent():
                last[f"event {entry.number}"] = entry.number
            case EditPlan(values):
                if any(plan[key] != value[0] for key, value in values.items()):
                    return entry
                plan |= {key: value[1] for key, value in values.items()}
            case Exclude() | Include():
                if counts is isinstance(entry.change, Include):
                    return entry
                counts = not counts
            case Undo():
                pass
    return None


def _next(log: Log, change: Change) -> Correction:
    return Correction(len(log) + 1, 0, "", "", change)


def _base(log: Log, change: Change) -> Correction:
    """Return the correction that a chain of undoings is about in the end; the change itself where it is none."""
    entry = _next(log, change)
    while isinstance(entry.change, Undo):
        of = entry.change.of
        entry = next(one for one in log if one.number == of)
    return entry


def _subjects(log: Log, change: Change, number: int | None) -> set[str]:
    """Return what a change is about; changes made at once that have a subject in common contradict each other."""
    match change:
        case AddEvent():
            # Several may be added: each is a subject of its own.
            return set() if number is None else {f"event {number}"}
        case MoveEvent(target) | DeleteEvent(target):
            return {_root(log, target)}
        case EditPlan(values):
            return {f"plan {key}" for key in values}
        case Exclude() | Include():
            return {"counting"}
        case Undo():
            base = _base(log, change)
            return _subjects(log, base.change, base.number)


def _root(log: Log, target: Target) -> str:
    """Name the event that a target is in the end, however often it was moved."""
    while target.of is not None:
        of = target.of
        setter = next((one.change for one in log if one.number == of), None)
        if not isinstance(setter, MoveEvent):
            return f"event {of}"
        target = setter.target
    return f"found {target.kind.value} at {target.t_s}"


def _before(said: dict[int, Word], target: Target) -> Word:
    """Take out what was said of a target before."""
    if target.of is not None and target.of in said:
        return said.pop(target.of)
    return Word(target.kind, target.t_s, None)


def _set(entry: Correction, kind: EventKind, t_s: float, u_s: float) -> Event:
    # A remark is what was said; who said it is in the log.
    evidence = entry.why if kind is EventKind.NOTE else f"set by {entry.who}" + (f": {entry.why}" if entry.why else "")
    return Event(kind, t_s, u_s, evidence, by_person=True)
