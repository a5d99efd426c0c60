"""What comes after the end of its trial is counted with it: a summary that does not know of it is told by that."""

import sqlite3
from collections.abc import Sequence

from emberline.bench.samples import SampleBatch
from emberline.store.records import Gap

Span = tuple[int, int]


def count_additions(
    connection: sqlite3.Connection, bench: str, stored: Sequence[SampleBatch], flagged: Sequence[Gap]
) -> tuple[str, ...]:
    """Count what is being stored of a bench with each of its trials that it belongs to and that has ended.

    Args:
        connection: The store, in the transaction that stores it: neither is kept without the other.
        bench: Id of the bench.
        stored: Samples that are new.
        flagged: Losses that are new.

    Returns:
        Ids of these trials.
    """
    spans = [(int(batch.t_ns[0]), int(batch.t_ns[-1])) for batch in stored]
    spans += [(gap.start_ns, gap.end_ns) for gap in flagged]
    rows = connection.execute(
        "SELECT id, start_ns, end_ns FROM trials WHERE bench = ? AND origin = 'live' AND end_ns >= ?",
        (bench, min(first for first, _ in spans)),
    ).fetchall()
    found = tuple(
        trial for trial, start_ns, end_ns in rows if any(first <= end_ns and last >= start_ns for first, last in spans)
    )
    connection.executemany("UPDATE trials SET additions = additions + 1 WHERE id = ?", [(one,) for one in found])
    return found


def last_end_ns(connection: sqlite3.Connection) -> int:
    """Return when the last of all benches' trials ended: what is younger is no addition."""
    (end_ns,) = connection.execute("SELECT max(end_ns) FROM trials WHERE origin = 'live'").fetchone()
    return 0 if end_ns is None else int(end_ns)
