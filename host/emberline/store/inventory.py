"""The inventory and the guides' states on their way to the disk and back. An entry is never overwritten."""

import sqlite3
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """One version of a fuel lot, a pot or a stove.

    Attributes:
        kind: `lot`, `pot` or `stove`.
        name: Its name.
        entered_ns: When this version was entered, UTC nanoseconds.
        document: The entry as text.
        retired: Whether it is not offered any more.
    """

    kind: str
    name: str
    entered_ns: int
    document: str
    retired: bool


def add(connection: sqlite3.Connection, kind: str, name: str, document: str, now_ns: int, *, retired: bool) -> None:
    """Enter a version of something; the last one of a kind and name counts."""
    connection.execute(
        "INSERT INTO inventory (kind, name, entered_ns, document, retired) VALUES (?, ?, ?, ?, ?)",
        (kind, name, now_ns, document, int(retired)),
    )


def listed(connection: sqlite3.Connection) -> list[StoredEntry]:
    """Return the last version of everything, retired or not, by kind and name."""
    rows = connection.execute(
        "SELECT kind, name, entered_ns, document, retired FROM inventory WHERE id IN"
        " (SELECT max(id) FROM inventory GROUP BY kind, name) ORDER BY kind, name COLLATE NOCASE"
    )
    return [_entry(row) for row in rows]


def versions(connection: sqlite3.Connection, kind: str, name: str) -> list[StoredEntry]:
    """Return all versions of something, the oldest first."""
    rows = connection.execute(
        "SELECT kind, name, entered_ns, document, retired FROM inventory WHERE kind = ? AND name = ? ORDER BY id",
        (kind, name),
    )
    return [_entry(row) for row in rows]


def _entry(row: tuple[str, str, int, str, int]) -> StoredEntry:
    kind, name, entered_ns, document, retired = row
    return StoredEntry(kind, name, entered_ns, document, bool(retired))


def save_guide(connection: sqlite3.Connection, bench: str, document: str, now_ns: int) -> None:
    """Replace the state of a bench's guide; an empty one takes it away."""
    if document:
        connection.execute("INSERT OR REPLACE INTO guides VALUES (?, ?, ?)", (bench, now_ns, document))
    else:
        connection.execute("DELETE FROM guides WHERE bench = ?", (bench,))


def guide(connection: sqlite3.Connection, bench: str) -> str:
    """Return the state of a bench's guide; empty where it has none."""
    row = connection.execute("SELECT document FROM guides WHERE bench = ?", (bench,)).fetchone()
    return "" if row is None else str(row[0])
