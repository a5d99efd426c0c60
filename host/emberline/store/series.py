"""Planned series on their way to the disk and back; one is never changed once it is planned."""

import sqlite3

from emberline.store.errors import SeriesKnownError, UnknownSeriesError


def plan(connection: sqlite3.Connection, name: str, document: str, now_ns: int) -> None:
    """Enter a series.

    Raises:
        SeriesKnownError: One of that name is planned already.
    """
    if connection.execute("SELECT 1 FROM series WHERE name = ?", (name,)).fetchone():
        raise SeriesKnownError(f"a series {name!r} is planned already, and its plan stands: give another name")
    connection.execute("INSERT INTO series VALUES (?, ?, ?)", (name, now_ns, document))


def get(connection: sqlite3.Connection, name: str) -> str:
    """Return the document of a series.

    Raises:
        UnknownSeriesError: No series has that name.
    """
    row = connection.execute("SELECT document FROM series WHERE name = ?", (name,)).fetchone()
    if row is None:
        raise UnknownSeriesError(f"no series {name!r} is planned: `emberline order` lists them, and plans new ones")
    return str(row[0])


def listed(connection: sqlite3.Connection) -> list[str]:
    """Return the documents of all series in the order in which they were planned."""
    return [row[0] for row in connection.execute("SELECT document FROM series ORDER BY planned_ns, name")]
