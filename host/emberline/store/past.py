"""What matters of a bench's past to whoever takes it up: one look into the store serves all that come together."""

import sqlite3
from dataclasses import dataclass

from emberline.bench.errors import CalibrationError
from emberline.bench.findings import Finding
from emberline.store import findings, trials
from emberline.store.records import Trial


@dataclass(frozen=True, slots=True)
class Past:
    """What a store holds of a bench that matters for what comes.

    Attributes:
        findings: What its calibrations and checks found, the oldest first; none where they cannot be read.
        unread: Why they cannot be read; empty where they can.
        unfinished: Its live trials that are open, or whose summary is missing or behind, as they were entered.
        last_end_ns: When the last of its live trials ended, UTC nanoseconds; 0 where none did.
    """

    findings: tuple[Finding, ...] = ()
    unread: str = ""
    unfinished: tuple[Trial, ...] = ()
    last_end_ns: int = 0


def read_past(connection: sqlite3.Connection, bench: str) -> Past:
    """Return what a store holds of a bench; an empty past for one that it does not know."""
    found: tuple[Finding, ...] = ()
    unread = ""
    try:
        found = tuple(findings.listed(connection, bench))
    except CalibrationError as error:
        unread = str(error)
    unfinished = tuple(trials.unfinished(connection, bench))
    return Past(found, unread, unfinished, trials.last_end_ns(connection, bench))
