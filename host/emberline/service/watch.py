"""What is asked of the process that follows a record, and what it answers. Light, for the daemon to start quickly."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from emberline.curves.events import Event, Phase, Retraction
from emberline.trials.alarms import Alarm
from emberline.trials.estimates import Estimates

LOOKOUT_S = 1_200
"""Length of record in which `lit` is looked for while no trial is open; then its older part is let go."""
SECOND_NS = 1_000_000_000
FIRST_COMMITS = 4
"""Streams are stored within a second of each other, so the first sample of all is in one of so many first commits."""


@dataclass(frozen=True, slots=True)
class Watch:
    """What to follow.

    Attributes:
        bench: Id of the bench.
        bench_text: Its bench file, calibrations completed.
        start_ns: UTC nanoseconds of `t_s = 0`.
        plan_text: What is known beforehand; None while no trial is open and only `lit` is looked for.
        announced: What was announced before a crash; those times stand.
    """

    bench: str
    bench_text: str
    start_ns: int
    plan_text: str | None = None
    announced: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class FoundAlarms:
    """The alarms of a record, once all of it that is stored has been looked at.

    Attributes:
        start_ns: UTC nanoseconds of the record's beginning.
        newest: The newest alarm of each kind, standing or cleared.
        first: Whether the record was begun just now: what has come and gone in it is past.
    """

    start_ns: int
    newest: tuple[Alarm, ...]
    first: bool


@dataclass(frozen=True, slots=True)
class Turn:
    """What one turn found.

    Attributes:
        said: What is to be said now.
        announced: Everything that stands announced, in its last form.
        retracted: Everything taken back.
        more: Whether more commits wait.
        t_s: Seconds of the record looked at.
        phase: Phase of the trial.
        estimates: Newest estimates.
        alarms: The alarms of the record; None while there is still some of it to catch up with.
        begin_ns: While no trial is open: where a trial begins, once `lit` was seen.
        end_ns: Where the trial has ended by itself; None while it goes on.
    """

    said: tuple[Event | Retraction, ...]
    announced: tuple[Event, ...]
    retracted: tuple[Retraction, ...]
    more: bool
    t_s: float
    phase: Phase
    estimates: Estimates
    alarms: FoundAlarms | None = None
    begin_ns: int | None = None
    end_ns: int | None = None


Changes = Mapping[str, Any]
"""What is other in a turn than in the one before, by the name of its attribute: of most seconds, little."""


def changes(turn: Turn, before: Turn | None) -> Changes:
    """Return what `changed` needs to make of a turn's forerunner the turn itself; all of it where there is none."""
    return {
        name: getattr(turn, name) for name in _NAMES if before is None or getattr(turn, name) != getattr(before, name)
    }


def changed(before: Turn | None, found: Changes) -> Turn:
    """Return the turn that follows one with some changes."""
    known = {} if before is None else {name: getattr(before, name) for name in _NAMES}
    return Turn(**(known | dict(found)))


_NAMES = tuple(one.name for one in fields(Turn))
