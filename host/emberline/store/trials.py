"""Trials and what belongs to them: plans, events, summaries and notes."""

import sqlite3
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Retraction
from emberline.store.errors import UnknownTrialError
from emberline.store.records import Note, StoredSummary, Trial

_SELECT = (
    "SELECT trials.id, trials.bench, label, origin, source, start_ns, end_ns, zone, relative, remarks, created_ns,"
    " coalesce(calibrations.document, ''),"
    " coalesce((SELECT document FROM plans WHERE plans.trial = trials.id ORDER BY plans.id DESC LIMIT 1), ''),"
    " trials.additions"
    " FROM trials LEFT JOIN calibrations ON calibrations.id = coalesce((SELECT calibration FROM recalibrations"
    " WHERE recalibrations.trial = trials.id ORDER BY recalibrations.id DESC LIMIT 1), trials.calibration)"
)


def zone_named(name: str) -> tzinfo:
    """Return a time zone by its name; UTC where this machine does not know it."""
    try:
        return UTC if name == "UTC" else ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def ensure_bench(connection: sqlite3.Connection, bench: str, now_ns: int) -> None:
    """Enter a bench unless it is known."""
    ensure_benches(connection, [bench], now_ns)


def ensure_benches(connection: sqlite3.Connection, benches: Iterable[str], now_ns: int) -> None:
    """Enter those benches that are not known."""
    connection.executemany("INSERT OR IGNORE INTO benches VALUES (?, ?)", [(bench, now_ns) for bench in benches])


def create(
    connection: sqlite3.Connection,
    *,
    bench: str,
    start_ns: int,
    zone: str,
    origin: str,
    source: str | None,
    relative: bool,
    remarks: Sequence[str],
    label: str | None,
    bench_text: str,
    plan_text: str,
    now_ns: int,
) -> Trial:
    """Enter a trial under a new id and return it."""
    ensure_bench(connection, bench, now_ns)
    calibration = enter_calibration(connection, bench, bench_text, now_ns) if bench_text else None
    day = datetime.fromtimestamp(start_ns / 1e9, zone_named(zone)).date().isoformat()
    taken = connection.execute("SELECT id FROM trials WHERE id LIKE ? || '-%'", (day,)).fetchall()
    count = max((int(row[0].rpartition("-")[2]) for row in taken), default=0) + 1
    identity = f"{day}-{count}"
    connection.execute(
        "INSERT INTO trials (id, bench, calibration, label, origin, source, start_ns, zone, relative, remarks,"
        " created_ns) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            identity,
            bench,
            calibration,
            label,
            origin,
            source,
            start_ns,
            zone,
            int(relative),
            "\n".join(one.replace("\n", " ") for one in remarks),
            now_ns,
        ),
    )
    if plan_text:
        save_plan(connection, identity, plan_text, now_ns)
    return get(connection, identity)


def enter_calibration(connection: sqlite3.Connection, bench: str, document: str, now_ns: int) -> int | None:
    """Enter a bench file unless it is the same as the last one, and return its number."""
    row = connection.execute(
        "SELECT id, document FROM calibrations WHERE bench = ? ORDER BY id DESC LIMIT 1", (bench,)
    ).fetchone()
    if row and row[1] == document:
        return int(row[0])
    return connection.execute(
        "INSERT INTO calibrations (bench, entered_ns, document) VALUES (?, ?, ?)", (bench, now_ns, document)
    ).lastrowid


def benches(connection: sqlite3.Connection) -> list[str]:
    """Return the ids of all benches."""
    return [row[0] for row in connection.execute("SELECT id FROM benches ORDER BY id")]


def get(connection: sqlite3.Connection, trial: str) -> Trial:
    """Return a trial.

    Raises:
        UnknownTrialError: No trial has that id.
    """
    row = connection.execute(f"{_SELECT} WHERE trials.id = ?", (trial,)).fetchone()
    if row is None:
        raise UnknownTrialError(f"there is no trial {trial!r}: `emberline trials` lists them")
    return _trial(row)


def listed(connection: sqlite3.Connection) -> list[Trial]:
    """Return all trials in the order in which they were entered."""
    return [_trial(row) for row in connection.execute(f"{_SELECT} ORDER BY trials.rowid")]


def unfinished(connection: sqlite3.Connection, bench: str) -> list[Trial]:
    """Return the live trials of a bench that are open, or whose summary is missing or behind, as they were entered."""
    done = "SELECT 1 FROM results WHERE results.trial = trials.id AND results.additions >= trials.additions"
    left = f"trials.end_ns IS NULL OR NOT EXISTS ({done})"
    of_bench = "trials.bench = ? AND trials.origin = 'live'"
    rows = connection.execute(f"{_SELECT} WHERE {of_bench} AND ({left}) ORDER BY trials.rowid", (bench,))
    return [_trial(row) for row in rows]


def last_end_ns(connection: sqlite3.Connection, bench: str) -> int:
    """Return when the last of a bench's live trials ended, UTC nanoseconds; 0 where none did."""
    row = connection.execute(
        "SELECT coalesce(max(end_ns), 0) FROM trials WHERE bench = ? AND origin = 'live'", (bench,)
    ).fetchone()
    return int(row[0])


def _trial(
    row: tuple[str, str, str | None, str, str | None, int, int | None, str, int, str, int, str, str, int],
) -> Trial:
    return Trial(*row[:8], bool(row[8]), tuple(row[9].splitlines()), *row[10:])


def end(connection: sqlite3.Connection, trial: str, end_ns: int) -> None:
    """Close a trial."""
    get(connection, trial)
    connection.execute("UPDATE trials SET end_ns = ? WHERE id = ?", (end_ns, trial))


def save_plan(connection: sqlite3.Connection, trial: str, document: str, now_ns: int) -> None:
    """Enter a plan file for a trial; earlier ones are kept, the last one counts."""
    get(connection, trial)
    connection.execute("INSERT INTO plans (trial, entered_ns, document) VALUES (?, ?, ?)", (trial, now_ns, document))


def plans(connection: sqlite3.Connection, trial: str) -> list[tuple[int, str]]:
    """Return the plan files of a trial as they were entered, each with when; the last one counts."""
    get(connection, trial)
    rows = connection.execute("SELECT entered_ns, document FROM plans WHERE trial = ? ORDER BY id", (trial,))
    return rows.fetchall()


def save_events(
    connection: sqlite3.Connection, trial: str, events: Sequence[Event], retracted: Sequence[Retraction]
) -> None:
    """Replace the events of a trial."""
    get(connection, trial)
    connection.execute("DELETE FROM events WHERE trial = ?", (trial,))
    connection.execute("DELETE FROM retractions WHERE trial = ?", (trial,))
    connection.executemany(
        "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [(trial, ordinal, *_event_row(event)) for ordinal, event in enumerate(events)],
    )
    connection.executemany(
        "INSERT INTO retractions VALUES (?, ?, ?, ?, ?, ?)",
        [
            (trial, ordinal, one.kind.value, float(one.announced_t_s), float(one.retracted_t_s), one.why)
            for ordinal, one in enumerate(retracted)
        ],
    )


def _event_row(event: Event) -> tuple[object, ...]:
    size = (None, None) if event.size_g is None else (float(event.size_g.n), float(event.size_g.s))
    announced = None if event.announced_t_s is None else float(event.announced_t_s)
    head = (event.kind.value, float(event.t_s), float(event.u_s), event.evidence)
    return (*head, *size, int(event.confirmed), announced, int(event.by_person))


def events(connection: sqlite3.Connection, trial: str) -> list[Event]:
    """Return the events of a trial as they were saved."""
    get(connection, trial)
    rows = connection.execute(
        "SELECT kind, t_s, u_s, evidence, size_g, u_size_g, confirmed, announced_t_s, by_person FROM events"
        " WHERE trial = ? ORDER BY ordinal",
        (trial,),
    )
    return [
        Event(
            EventKind(kind),
            t_s,
            u_s,
            evidence,
            None if size_g is None else ufloat(size_g, u_size_g, "size"),
            bool(confirmed),
            announced_t_s,
            bool(by_person),
        )
        for kind, t_s, u_s, evidence, size_g, u_size_g, confirmed, announced_t_s, by_person in rows
    ]


def retractions(connection: sqlite3.Connection, trial: str) -> list[Retraction]:
    """Return what a live run announced and took back in a trial."""
    get(connection, trial)
    rows = connection.execute(
        "SELECT kind, announced_t_s, retracted_t_s, why FROM retractions WHERE trial = ? ORDER BY ordinal", (trial,)
    )
    return [Retraction(EventKind(kind), announced, retracted, why) for kind, announced, retracted, why in rows]


def rename(connection: sqlite3.Connection, trial: str) -> None:
    """Have a trial carry the label of its plan, and no other."""
    connection.execute("UPDATE trials SET label = NULL WHERE id = ?", (trial,))


def save_summary(
    connection: sqlite3.Connection, trial: str, document: str, version: str, listing: str, additions: int, now_ns: int
) -> None:
    """Replace the summary of a trial, and what a list shows of it."""
    get(connection, trial)
    connection.execute(
        "INSERT OR REPLACE INTO results (trial, version, written_ns, document, listing, additions, change)"
        " VALUES (?, ?, ?, ?, ?, ?, (SELECT coalesce(max(change), 0) + 1 FROM results))",
        (trial, version, now_ns, document, listing, additions),
    )


def listings(connection: sqlite3.Connection) -> dict[str, str]:
    """Return what a list shows of each trial that has a summary, by its id."""
    return dict(connection.execute("SELECT trial, listing FROM results"))


def summary(connection: sqlite3.Connection, trial: str) -> StoredSummary | None:
    """Return the summary of a trial, or None where none was written yet."""
    additions = get(connection, trial).additions
    row = connection.execute(
        "SELECT document, version, listing, additions FROM results WHERE trial = ?", (trial,)
    ).fetchone()
    if row is None:
        return None
    document, version, listing, known = row
    return StoredSummary(document, version, listing, behind=known < additions)


def add_note(connection: sqlite3.Connection, bench: str, note: Note, now_ns: int) -> None:
    """Keep a person's remark."""
    if note.trial is not None:
        get(connection, note.trial)
    ensure_bench(connection, bench, now_ns)
    connection.execute(
        "INSERT INTO notes (bench, trial, t_ns, text) VALUES (?, ?, ?, ?)", (bench, note.trial, note.t_ns, note.text)
    )


def notes(connection: sqlite3.Connection, bench: str) -> list[Note]:
    """Return the remarks on a bench in order of time."""
    rows = connection.execute("SELECT t_ns, text, trial FROM notes WHERE bench = ? ORDER BY t_ns, id", (bench,))
    return [Note(*row) for row in rows]
