"""Corrections as a person reads them: what was changed, what it was before, who did it, when and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from emberline.bench.plan_values import PlanValue
from emberline.curves.events import EventKind
from emberline.reports.figures import clock, moment
from emberline.reports.wording import EVENTS
from emberline.trials.corrections import (
    AddEvent,
    Correction,
    DeleteEvent,
    EditPlan,
    Exclude,
    Include,
    Log,
    MoveEvent,
    Undo,
    undone_by,
)

NOTHING = "nothing"
"""What stood at a key of the plan where nothing did."""


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """One correction.

    Attributes:
        number: Its number.
        what: What was changed.
        before: What it was before; empty where there was nothing.
        who: Who changed it.
        when: When, in the trial's time zone, with the offset.
        why: Why; may be empty.
        undone: By what it was taken back; empty while it holds.
    """

    number: int
    what: str
    before: str
    who: str
    when: str
    why: str
    undone: str


def correction_rows(log: Log, zero_s: float, zone: tzinfo) -> list[CorrectionRow]:
    """Return all corrections of a trial in their order.

    Args:
        log: All corrections.
        zero_s: Moment from which times are counted, seconds from the trial's first sample.
        zone: Time zone in which a person reads when they were made.
    """
    undone = undone_by(log)
    rows = []
    for entry in log:
        what, before = _told(entry, zero_s)
        by = undone.get(entry.number)
        made = datetime.fromtimestamp(entry.made_ns // 1_000_000_000, zone)
        when = f"{made:%Y-%m-%d %H:%M:%S} {made:%z}"
        gone = "" if by is None else f"taken back by correction {by}"
        rows.append(CorrectionRow(entry.number, what, before, entry.who, when, entry.why, gone))
    return rows


def _told(entry: Correction, zero_s: float) -> tuple[str, str]:
    match entry.change:
        case AddEvent(EventKind.NOTE, t_s, _):
            return f"Remark added at {clock(t_s - zero_s)}", ""
        case AddEvent(kind, t_s, u_s):
            return f"{EVENTS[kind].capitalize()} set at {moment(t_s - zero_s, u_s)}", ""
        case MoveEvent(target, t_s, u_s):
            name = EVENTS[target.kind].capitalize()
            return f"{name} moved to {moment(t_s - zero_s, u_s)}", clock(target.t_s - zero_s)
        case DeleteEvent(target):
            return f"{EVENTS[target.kind].capitalize()} deleted", clock(target.t_s - zero_s)
        case EditPlan(values):
            return _plan(values)
        case Exclude():
            return "Excluded: does not count", ""
        case Include():
            return "Counts again", ""
        case Undo(of):
            return f"Correction {of} taken back", ""


def _plan(values: Mapping[str, tuple[PlanValue | None, PlanValue | None]]) -> tuple[str, str]:
    after = ", ".join(f"{key} = {_value(value[1])}" for key, value in values.items())
    before = ", ".join(f"{key} = {_value(value[0])}" for key, value in values.items())
    nothing = all(value[0] is None for value in values.values())
    return f"Plan: {after}", "" if nothing else before


def _value(value: PlanValue | None) -> str:
    match value:
        case None:
            return NOTHING
        case bool():
            return "yes" if value else "no"
        case list():
            tables = (", ".join(f"{key} {_value(inner)}" for key, inner in table.items()) for table in value)
            return f"({'; '.join(tables)})"
        case _:
            return str(value)
