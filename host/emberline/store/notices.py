"""What a person must know of the recording itself, kept with the samples: set-aside stores, outages, clock steps."""

import sqlite3
from dataclasses import dataclass
from enum import StrEnum


class NoticeKind(StrEnum):
    """What a notice is about."""

    SET_ASIDE = "store set aside"
    OUTAGE = "not recording"
    CLOCK = "clock set"
    ROW_REFUSED = "row refused"


@dataclass(frozen=True, slots=True)
class Notice:
    """One notice.

    Attributes:
        t_ns: UTC nanoseconds of what it is about.
        kind: What that is.
        text: What happened and what to do, in words.
    """

    t_ns: int
    kind: NoticeKind
    text: str


def add(connection: sqlite3.Connection, notice: Notice) -> None:
    """Keep a notice."""
    connection.execute(
        "INSERT INTO notices (t_ns, kind, text) VALUES (?, ?, ?)", (notice.t_ns, notice.kind.value, notice.text)
    )


def newest(connection: sqlite3.Connection, since_ns: int, limit: int) -> list[Notice]:
    """Return the newest notices not older than a moment, the oldest of them first."""
    rows = connection.execute(
        "SELECT t_ns, kind, text FROM notices WHERE t_ns >= ? ORDER BY t_ns DESC, id DESC LIMIT ?", (since_ns, limit)
    ).fetchall()
    return [Notice(t_ns, NoticeKind(kind), text) for t_ns, kind, text in reversed(rows)]
