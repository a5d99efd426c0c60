"""What several benches have stored since each was looked at last: few sums over the blocks of all of them."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from emberline.store import blocks
from emberline.store.blocks import Commit

PAGE = 64
"""Commits of one bench that are read at a time, but for a block that holds more."""


@dataclass(frozen=True, slots=True)
class Place:
    """How far a bench has been read.

    Attributes:
        bench: Its id.
        since_ns: Blocks that ended before this moment do not matter, UTC nanoseconds.
        after: Id of the last commit that was read.
    """

    bench: str
    since_ns: int
    after: int


@dataclass(frozen=True, slots=True)
class Fresh:
    """What a bench has stored since.

    Attributes:
        commits: The next commits in their order, whole.
        more: Whether more may follow them.
    """

    commits: tuple[Commit, ...]
    more: bool


def read_fresh(connection: sqlite3.Connection, places: Sequence[Place], most: int) -> dict[str, Fresh]:
    """Return what benches have sent and stored since each was read last.

    Args:
        connection: Open for reading.
        places: How far each has been read; those after the one with which `most` is reached are left out.
        most: Commits to read in all, but for the last block.

    Raises:
        StoreDamagedError: A block cannot be read.
    """
    found: list[tuple[Place, list[tuple[int, bytes]], bool]] = []
    for place in places:
        if most <= 0:
            break
        rows, left = [], min(PAGE, most)
        for commits, codec, payload in connection.execute(
            "SELECT commits, codec, payload FROM blocks WHERE bench = ? AND trial IS NULL AND last_id > ?"
            " AND end_ns >= ? ORDER BY last_id LIMIT ?",
            (place.bench, place.after, place.since_ns, left),
        ):
            rows.append((codec, payload))
            left -= commits
            most -= commits
            if left <= 0:
                break
        found.append((place, rows, left <= 0))
    decoded = iter(blocks.decode_each([row for _, rows, _ in found for row in rows]))
    return {
        place.bench: Fresh(tuple(one for _ in rows for one in next(decoded) if one.id > place.after), more)
        for place, rows, more in found
    }
