"""The alarms of a stored trial, in words."""

from dataclasses import dataclass

from emberline.reports.figures import clock
from emberline.service.time_words import span_words
from emberline.store.records import StoredAlarm, Trial
from emberline.store.store import Store
from emberline.trials.alarms import TITLES, AlarmKind

AFTER_NS = 60 * 1_000_000_000
"""An alarm that is raised so soon after the last reading of a trial is about that trial still."""


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One alarm on the page.

    Attributes:
        time: When it was raised, from the trial's zero.
        title: What it is called.
        text: Its evidence.
        seen: Who saw it and after how long, or that nobody did.
        gone: After how long its cause had gone; that it is not known to have.
    """

    time: str
    title: str
    text: str
    seen: str
    gone: str


def alarm_rows(store: Store, trial: Trial, zero_s: float) -> list[AlarmRow]:
    """Return the alarms that were raised while a trial ran, in order of time; none of an import."""
    if trial.origin != "live":
        return []
    end = {} if trial.end_ns is None else {"end_ns": trial.end_ns + AFTER_NS}
    return [_row(one, trial, zero_s) for one in store.alarms(trial.bench, trial.start_ns, **end)]


def _row(alarm: StoredAlarm, trial: Trial, zero_s: float) -> AlarmRow:
    known = alarm.kind in set(AlarmKind)
    seen = "by nobody"
    if alarm.acknowledged_ns is not None:
        by = alarm.acknowledged_by or "somebody"
        seen = f"by {by}, after {span_words((alarm.acknowledged_ns - alarm.raised_ns) * 1e-9)}"
    gone = "not known"
    if alarm.cleared_ns is not None:
        gone = f"after {span_words((alarm.cleared_ns - alarm.raised_ns) * 1e-9)}"
    return AlarmRow(
        clock((alarm.raised_ns - trial.start_ns) * 1e-9 - zero_s),
        TITLES[AlarmKind(alarm.kind)] if known else alarm.kind.replace("_", " "),
        alarm.text,
        seen,
        gone,
    )
