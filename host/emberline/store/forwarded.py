"""What servers were sent of trials' events and results, and which summaries they have not been sent yet."""

import sqlite3

SOME = 20
"""Summaries handed out at once."""


def changed(connection: sqlite3.Connection, server: str) -> list[tuple[int, str]]:
    """Return the summaries that were written since a server was sent the last one: their numbers and trials.

    Some at a time, in the order in which they were written; all of them, from the first on, for a server not known yet.
    """
    after = connection.execute("SELECT last_change FROM outbox WHERE server = ?", (server,)).fetchone()
    return connection.execute(
        "SELECT change, trial FROM results WHERE change > ? ORDER BY change LIMIT ?", (after[0] if after else 0, SOME)
    ).fetchall()


def revisions(connection: sqlite3.Connection, server: str, trial: str) -> dict[int, list[str]]:
    """Return the lines that a server may have of a trial, by their revision, the oldest first."""
    rows = connection.execute(
        "SELECT revision, lines FROM forwarded WHERE server = ? AND trial = ? ORDER BY revision", (server, trial)
    )
    return {revision: lines.splitlines() for revision, lines in rows}


def plan(connection: sqlite3.Connection, server: str, trial: str, revision: int, lines: list[str]) -> None:
    """Keep the lines that a server is about to be sent of a trial."""
    connection.execute(
        "INSERT OR REPLACE INTO forwarded (server, trial, revision, lines) VALUES (?, ?, ?, ?)",
        (server, trial, revision, "\n".join(lines)),
    )


def settle(connection: sqlite3.Connection, server: str, trial: str, revision: int, change: int) -> None:
    """Note that a server has a revision of a trial, and knows that the earlier ones hold no more.

    Args:
        connection: Within a transaction.
        server: The server, which must be known to the outbox.
        trial: Id of the trial.
        revision: What it has.
        change: Number of the summary that was sent.
    """
    connection.execute(
        "DELETE FROM forwarded WHERE server = ? AND trial = ? AND revision < ?", (server, trial, revision)
    )
    connection.execute("UPDATE outbox SET last_change = max(last_change, ?) WHERE server = ?", (change, server))
