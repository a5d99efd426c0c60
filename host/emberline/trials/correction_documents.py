"""Corrections as JSON documents, and back."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from emberline.curves.events import EventKind
from emberline.trials.corrections import (
    AddEvent,
    Change,
    Correction,
    DeleteEvent,
    EditPlan,
    Exclude,
    Include,
    Log,
    MoveEvent,
    Target,
    Undo,
    exclusion,
    undone_by,
)


def correction_documents(log: Log) -> list[dict[str, Any]]:
    """Return all corrections of a trial in their order, those that were taken back among them."""
    undone = undone_by(log)
    return [
        {
            "number": entry.number,
            "made": moment_text(entry.made_ns),
            "who": entry.who,
            "why": entry.why,
            "undone_by": undone.get(entry.number),
            **change_document(entry.change),
        }
        for entry in log
    ]


def exclusion_document(log: Log) -> dict[str, Any] | None:
    """Return why, by whom and when a trial was excluded; None where it counts."""
    entry = exclusion(log)
    return None if entry is None else _told(entry)


def _told(entry: Correction) -> dict[str, Any]:
    return {"why": entry.why, "who": entry.who, "made": moment_text(entry.made_ns)}


def moment_text(t_ns: int) -> str:
    """Write a moment in UTC to the second, in the form of RFC 3339."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=t_ns // 1_000_000_000)
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def change_document(change: Change) -> dict[str, Any]:
    """Return a change as plain JSON values."""
    match change:
        case AddEvent(kind, t_s, u_s):
            return {"do": "add", "kind": kind.value, "t_s": t_s, "u_s": u_s}
        case MoveEvent(target, t_s, u_s):
            return {"do": "move", **_target(target), "t_s": t_s, "u_s": u_s}
        case DeleteEvent(target):
            return {"do": "delete", **_target(target)}
        case EditPlan(values):
            return {"do": "plan", "values": {key: list(value) for key, value in values.items()}}
        case Exclude():
            return {"do": "exclude"}
        case Include():
            return {"do": "include"}
        case Undo(of):
            return {"do": "undo", "of": of}


def _target(target: Target) -> dict[str, Any]:
    of_it = {"kind": target.kind.value, "was_s": target.t_s, "of": target.of}
    return of_it if target.announced_t_s is None else {**of_it, "announced_t_s": target.announced_t_s}


def read_change(change: Mapping[str, Any]) -> Change:
    """Return the change that a document tells of."""
    match change["do"]:
        case "add":
            return AddEvent(EventKind(change["kind"]), change["t_s"], change["u_s"])
        case "move":
            return MoveEvent(_read_target(change), change["t_s"], change["u_s"])
        case "delete":
            return DeleteEvent(_read_target(change))
        case "plan":
            return EditPlan({key: (before, after) for key, (before, after) in change["values"].items()})
        case "exclude":
            return Exclude()
        case "include":
            return Include()
        case _:
            return Undo(change["of"])


def _read_target(change: Mapping[str, Any]) -> Target:
    return Target(EventKind(change["kind"]), change["was_s"], change["of"], change.get("announced_t_s"))
