"""Alarms of the benches, kept so that it can be told later what was wrong, who saw it, and when."""

import sqlite3

from emberline.store import trials
from emberline.store.records import StoredAlarm


def keep(connection: sqlite3.Connection, alarm: StoredAlarm, now_ns: int) -> None:
    """Keep an alarm as it stands now; what was acknowledged or gone once stays so.

    Args:
        connection: Within a transaction.
        alarm: The alarm; its bench, kind and moment name it.
        now_ns: Time, for a bench that is new.
    """
    trials.ensure_bench(connection, alarm.bench, now_ns)
    connection.execute(
        "INSERT INTO alarms (bench, kind, raised_ns, text, cleared_ns, acknowledged_ns, acknowledged_by)"
        " VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (bench, raised_ns, kind) DO UPDATE SET"
        " cleared_ns = coalesce(excluded.cleared_ns, cleared_ns),"
        " acknowledged_by = CASE WHEN acknowledged_ns IS NULL THEN excluded.acknowledged_by ELSE acknowledged_by END,"
        " acknowledged_ns = coalesce(acknowledged_ns, excluded.acknowledged_ns)",
        (
            alarm.bench,
            alarm.kind,
            alarm.raised_ns,
            alarm.text,
            alarm.cleared_ns,
            alarm.acknowledged_ns,
            alarm.acknowledged_by,
        ),
    )


def listed(connection: sqlite3.Connection, bench: str, start_ns: int, end_ns: int) -> list[StoredAlarm]:
    """Return the alarms of a bench that were raised within a time whose ends belong to it, the oldest first."""
    rows = connection.execute(
        "SELECT bench, kind, raised_ns, text, cleared_ns, acknowledged_ns, acknowledged_by FROM alarms"
        " WHERE bench = ? AND raised_ns BETWEEN ? AND ? ORDER BY raised_ns, kind",
        (bench, start_ns, end_ns),
    )
    return [StoredAlarm(*row) for row in rows]
