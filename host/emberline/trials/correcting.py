"""Whether a correction may be made now: it is possible, nobody changed the same meanwhile, nothing builds on it."""

from emberline.bench.plan_values import PlanValue
from emberline.curves.events import EventKind
from emberline.trials.corrections import (
    AddEvent,
    Change,
    Correction,
    CorrectionError,
    DeleteEvent,
    EditPlan,
    Exclude,
    Include,
    Log,
    MoveEvent,
    Target,
    Undo,
    exclusion,
    standing,
    words,
)

LEAST_U_S, MOST_U_S = 0.1, 600.0
"""Standard uncertainties that a person may give a moment."""


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
