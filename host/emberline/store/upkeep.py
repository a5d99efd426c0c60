"""Keeping the file small: merging the blocks of ended trials, dropping old samples."""

import sqlite3
from collections.abc import Iterable, Iterator

from emberline.store import blocks
from emberline.store.records import Pruned, Trial

MERGED_COMMITS = 600
"""Commits in a merged block: five minutes at two a second, so that a look at a part of a trial stays cheap."""

LOOKED_AT = 2 * MERGED_COMMITS
"""Blocks looked at for some to merge, so that a look takes as long in a store of a year as in one of a day."""
KEEP_DAYS = 7.0
"""How long samples outside trials are kept unless a person says otherwise; those of trials are kept for ever."""
PRUNED_BLOCKS = 500
"""Blocks dropped in one transaction; it takes some milliseconds."""


def compact_next(connection: sqlite3.Connection, trial: Trial, after: int) -> tuple[int, int] | None:
    """Merge the next few blocks of an ended trial that can be merged.

    A part at a time, since the samples of a running bench wait for each. Commits stay as they are and in their order,
    so a replay sees no difference. Blocks that a server has not taken yet are left alone, since the outbox counts
    blocks.

    Args:
        connection: The store.
        trial: The trial.
        after: Only blocks with a greater id are looked at.

    Returns:
        How many rows were saved, and the id to give as `after` next; None where no blocks are left to merge.

    Raises:
        ValueError: The trial is still open.
    """
    if trial.end_ns is None:
        raise ValueError(f"trial {trial.id} is still open: end it first")
    owner = trial.id if trial.origin == "import" else None
    return _merge_next(connection, trial.bench, owner, (trial.start_ns, trial.end_ns), after)


def compact_old_next(connection: sqlite3.Connection, bench: str, before_ns: int, after: int) -> tuple[int, int] | None:
    """Merge the next few blocks of a bench that ended before a moment, in a trial or not.

    Like `compact_next` in all else. Readings outside trials take a sixth of the room afterwards.
    """
    return _merge_next(connection, bench, None, (0, before_ns), after)


def _merge_next(
    connection: sqlite3.Connection, bench: str, owner: str | None, window_ns: tuple[int, int], after: int
) -> tuple[int, int] | None:
    rows = connection.execute(
        "SELECT id, commits, last_id <= ? AND end_ns >= ? AND start_ns <= ? FROM blocks"
        " WHERE bench = ? AND trial IS ? AND id > ? ORDER BY id LIMIT ?",
        (outbox_limit(connection), *window_ns, bench, owner, after, LOOKED_AT),
    ).fetchall()
    group = next(_groups(rows), None)
    if group is not None:
        _merge(connection, group)
        return len(group) - 1, group[-1]
    return None if len(rows) < LOOKED_AT else (0, rows[-1][0])


def _groups(rows: Iterable[tuple[int, int, int]]) -> Iterator[list[int]]:
    """Yield the ids of neighbours to be merged: only neighbours, or commits would change their order."""
    group: list[int] = []
    total = 0
    for identity, commits, eligible in rows:
        if group and (not eligible or total + commits > MERGED_COMMITS):
            if len(group) > 1:
                yield group
            group, total = [], 0
        if eligible:
            group.append(identity)
            total += commits
    if len(group) > 1:
        yield group


def _merge(connection: sqlite3.Connection, group: list[int]) -> None:
    payloads = [
        connection.execute("SELECT codec, payload FROM blocks WHERE id = ?", (identity,)).fetchone()
        for identity in group
    ]
    keep, last = group[0], group[-1]
    bench, owner = connection.execute("SELECT bench, trial FROM blocks WHERE id = ?", (keep,)).fetchone()
    connection.execute(
        "UPDATE blocks SET (last_id, start_ns, end_ns, samples, commits) ="
        " (SELECT max(last_id), min(start_ns), max(end_ns), sum(samples), sum(commits) FROM blocks"
        " WHERE bench = ? AND trial IS ? AND id BETWEEN ? AND ?), codec = ?, payload = ? WHERE id = ?",
        (bench, owner, keep, last, blocks.CODEC, blocks.joined(payloads), keep),
    )
    connection.execute(
        "DELETE FROM blocks WHERE bench = ? AND trial IS ? AND id > ? AND id <= ?", (bench, owner, keep, last)
    )


def prune_next(connection: sqlite3.Connection, before_ns: int) -> Pruned:
    """Drop some of the blocks that ended before a moment, belong to no trial and wait for no server.

    A part at a time, since the samples of a running bench wait for each; where nothing is left to drop, as many
    blocks as wait for a server are counted, and notices from before that moment dropped.
    """
    old = (
        "trial IS NULL AND end_ns < :before AND NOT EXISTS (SELECT 1 FROM trials WHERE trials.bench = blocks.bench"
        " AND trials.origin = 'live' AND trials.start_ns <= blocks.end_ns"
        " AND (trials.end_ns IS NULL OR trials.end_ns >= blocks.start_ns))"
    )
    values = {"before": before_ns, "limit": outbox_limit(connection), "some": PRUNED_BLOCKS}
    some = f"SELECT id FROM blocks WHERE {old} AND last_id <= :limit LIMIT :some"  # noqa: S608
    dropped = connection.execute(f"DELETE FROM blocks WHERE id IN ({some})", values).rowcount  # noqa: S608
    if dropped:
        return Pruned(dropped, 0)
    connection.execute("DELETE FROM notices WHERE t_ns < ?", (before_ns,))
    waiting = connection.execute(f"SELECT count(*) FROM blocks WHERE {old} AND last_id > :limit", values)  # noqa: S608
    count: int = waiting.fetchone()[0]
    return Pruned(0, count)


def outbox_cursor(connection: sqlite3.Connection, server: str) -> int:
    """Return the id of the last commit that a server has taken; 0 for a server not known yet."""
    row = connection.execute("SELECT last_commit FROM outbox WHERE server = ?", (server,)).fetchone()
    return int(row[0]) if row else 0


def advance_outbox(connection: sqlite3.Connection, server: str, commit: int) -> None:
    """Note that a server has taken every commit up to one; a lesser id than before changes nothing."""
    connection.execute(
        "INSERT INTO outbox (server, last_commit) VALUES (?, ?) ON CONFLICT (server) DO UPDATE"
        " SET last_commit = max(last_commit, excluded.last_commit)",
        (server, commit),
    )


def outbox_limit(connection: sqlite3.Connection) -> int:
    """Return the id of the last commit that every known server has taken; without servers, a number beyond all."""
    row = connection.execute("SELECT min(last_commit) FROM outbox").fetchone()
    return int(row[0]) if row[0] is not None else 2**62
