"""The events of a running trial as its live page lists them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from emberline.curves.events import Event, EventKind
from emberline.reports.figures import moment, plain
from emberline.reports.wording import EVENTS
from emberline.store.records import Trial
from emberline.store.trials import zone_named


@dataclass(frozen=True, slots=True)
class BurnRow:
    """One line of the list.

    Attributes:
        kind: What happened, for scripts.
        name: The same in words.
        t_s: When, in seconds from the trial's first sample, for scripts.
        since: The same from lit, with its uncertainty, as text.
        clock: The same on the clock where the trial is.
        size: Change of load with its uncertainty, as text.
        aside: Whether a person set it, or that it is not certain.
        evidence: Why, or the remark itself.
    """

    kind: str
    name: str
    t_s: float
    since: str
    clock: str
    size: str
    aside: str
    evidence: str


def burn_rows(events: Sequence[Event], trial: Trial | None) -> list[BurnRow]:
    """Return the list, newest first; times are from lit, or from the first sample before that."""
    zero_s = lit_s(events) or 0.0
    ordered = sorted(events, key=lambda event: event.t_s, reverse=True)
    return [_row(event, zero_s, trial) for event in ordered]


def lit_s(events: Sequence[Event]) -> float | None:
    """Return when the fire was lit, seconds from the first sample; None before that."""
    return min((event.t_s for event in events if event.kind is EventKind.LIT), default=None)


def _row(event: Event, zero_s: float, trial: Trial | None) -> BurnRow:
    if event.by_person:
        aside = "" if event.kind is EventKind.NOTE else "set by a person"
    else:
        aside = "" if event.confirmed else "unconfirmed"
    size = "" if event.size_g is None else plain(event.size_g, "g")
    return BurnRow(
        kind=event.kind.value,
        name="remark" if event.kind is EventKind.NOTE else EVENTS[event.kind],
        t_s=round(event.t_s, 1),
        since=moment(event.t_s - zero_s, event.u_s),
        clock="" if trial is None else local_time(trial.start_ns + int(event.t_s * 1e9), trial.zone),
        size=size if not size or size.startswith("\N{MINUS SIGN}") else f"+{size}",
        aside=aside,
        evidence=event.evidence,
    )


def local_time(t_ns: int, zone: str) -> str:
    """Return a moment on the clock of a zone, with its offset from UTC, such as `14:03:27 +0100`."""
    return f"{datetime.fromtimestamp(t_ns // 1_000_000_000, zone_named(zone)):%H:%M:%S %z}"
