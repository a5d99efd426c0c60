"""What a plain program would need for the same readings: rows of SQLite, one commit a second for all benches.

It is given the samples as arrays, decodes nothing, knows no repeats and no gaps, follows no burn and shows nothing.
"""

import sqlite3
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import numpy as np

from benchmarks.speed.room import ROW_TABLE

STREAMS, EACH, SECONDS = 4, 10, 5


def cores(folder: Path, benches: int) -> float:
    """Return the share of a core that storing a second of so many benches takes."""
    taken_s = []
    with closing(sqlite3.connect(folder / "plain.db", isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(ROW_TABLE)
        raw = np.random.default_rng(3).integers(0, 1 << 20, EACH).astype(float)
        for second in range(SECONDS):
            began_s = time.process_time()
            connection.execute("BEGIN")
            for bench in range(benches):
                connection.executemany("INSERT INTO samples VALUES (?, ?, ?, ?, ?, ?)", _rows(bench, second, raw))
            connection.execute("COMMIT")
            taken_s.append(time.process_time() - began_s)
    return float(np.median(taken_s))


def _rows(bench: int, second: int, raw: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Sequence[tuple[object, ...]]:
    return [
        (second, bench * STREAMS + stream, EACH * second + i, second * 10**9 + i * 10**8, value, 0)
        for stream in range(STREAMS)
        for i, value in enumerate(raw.tolist())
    ]
