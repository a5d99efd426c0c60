"""What calibrations found, and which of them a trial's record is read with."""

import json
import sqlite3
from collections.abc import Sequence

from emberline.bench.findings import Finding, Found, found_document, kind_of, read_found
from emberline.store import trials


def add(connection: sqlite3.Connection, bench: str, channel: str, found: Found, who: str, now_ns: int) -> Finding:
    """Keep what a calibration or check of a channel found, and return it with its number."""
    trials.ensure_bench(connection, bench, now_ns)
    text = json.dumps(found_document(found), allow_nan=False)
    row = (bench, channel, kind_of(found).value, now_ns, who, text)
    number = connection.execute(
        "INSERT INTO findings (bench, channel, kind, made_ns, who, document) VALUES (?, ?, ?, ?, ?, ?)", row
    ).lastrowid
    return Finding(number or 0, bench, channel, now_ns, who, found)


def listed(connection: sqlite3.Connection, bench: str) -> list[Finding]:
    """Return what was found on a bench, the oldest first.

    Raises:
        CalibrationError: Another version wrote something that this one does not read.
    """
    rows: Sequence[tuple[int, str, str, int, str, str]] = connection.execute(
        "SELECT id, channel, kind, made_ns, who, document FROM findings WHERE bench = ? ORDER BY id", (bench,)
    ).fetchall()
    return [
        Finding(number, bench, channel, made_ns, who, read_found(kind, json.loads(document)))
        for number, channel, kind, made_ns, who, document in rows
    ]


def recalibrate(connection: sqlite3.Connection, trial: str, bench_text: str | None, who: str, now_ns: int) -> None:
    """Have a trial's record read with another bench file from now on, and its summary worked out anew.

    Args:
        connection: Within a transaction.
        trial: Id of the trial.
        bench_text: The bench file; None for the one that held when the trial was entered.
        who: Who wants it.
        now_ns: The clock.

    Raises:
        UnknownTrialError: No trial has that id.
    """
    found = trials.get(connection, trial)
    if bench_text is None:
        (calibration,) = connection.execute("SELECT calibration FROM trials WHERE id = ?", (trial,)).fetchone()
    else:
        calibration = trials.enter_calibration(connection, found.bench, bench_text, now_ns)
    if calibration is not None:
        connection.execute(
            "INSERT INTO recalibrations (trial, made_ns, who, calibration) VALUES (?, ?, ?, ?)",
            (trial, now_ns, who, calibration),
        )
    # As if another version had written it: it is worked out anew when it is asked for.
    connection.execute("UPDATE results SET version = '' WHERE trial = ?", (trial,))
