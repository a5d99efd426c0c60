"""From batches to a commit that survives a power cut, and how many benches one core can follow second by second.

Ingest: the baseline stores a plain row of SQLite for each sample, as durably; the limit writes the same block into room
made beforehand in a file. All of them wait until it is on the disk, so they are timed by the wall clock.
Tracking: the baseline works out the final analysis of the record so far each second, taken at some moments of the burn;
the limit only puts what came on the grid of seconds.
"""

import os
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

from benchmarks.service.timing import in_turns
from benchmarks.speed.figures import Figure, Other
from benchmarks.speed.hour import BENCH, START_NS, rows_of
from benchmarks.speed.room import ROW_TABLE
from emberline.bench.bench_file import Bench
from emberline.bench.plan import Plan
from emberline.store import blocks
from emberline.store.blocks import Commit
from emberline.store.curves import curves_of
from emberline.store.store import Store
from emberline.trials.analysis import analyse
from emberline.trials.live import LiveTrial
from emberline.trials.tracker import Tracked
from emberline.trials.trial import GrowingGrid

AT_A_TIME = 50
ROOM_BYTES = 4 << 20
MOMENTS = 6


def measure_commits(folder: Path, commits: Sequence[Commit], times: int) -> list[Figure]:
    """Commit the burn's first minutes second by second, some seconds each time."""
    starts: dict[str, Iterator[int]] = {name: iter(range(0, len(commits) - AT_A_TIME, AT_A_TIME)) for name in "srf"}

    def some(name: str) -> Sequence[Commit]:
        start = next(starts[name])
        return commits[start : start + AT_A_TIME]

    with (
        Store.open(folder / "ingest.db", lambda: START_NS) as store,
        closing(sqlite3.connect(folder / "ingest-rows.db", isolation_level=None)) as plain,
        (folder / "ingest.log").open("wb", buffering=0) as file,
    ):
        file.write(bytes(ROOM_BYTES))
        file.seek(0)
        plain.execute("PRAGMA journal_mode = WAL")
        plain.execute("PRAGMA synchronous = FULL")
        plain.execute(ROW_TABLE)

        def stored() -> None:
            for commit in some("s"):
                store.commit(BENCH, commit.batches)

        def rows() -> None:
            for commit in some("r"):
                plain.execute("BEGIN")
                plain.executemany(
                    "INSERT INTO samples VALUES (?, ?, ?, ?, ?, ?)",
                    ((row[0], 1, *row[4:]) for row in rows_of([commit])),
                )
                plain.execute("COMMIT")

        def appended() -> None:
            for commit in some("f"):
                file.write(blocks.encode([commit]))
                os.fdatasync(file.fileno())

        taken_s = in_turns({"store": stored, "rows": rows, "file": appended}, times, time.perf_counter)
    each_ms = {name: 1000.0 * seconds / AT_A_TIME for name, seconds in taken_s.items()}
    return [
        Figure(
            "a second's readings to a durable commit",
            each_ms["store"],
            "ms",
            Other("SQLite rows", each_ms["rows"]),
            Other("write in place and sync", each_ms["file"]),
        )
    ]


def measure_tracking(bench: Bench, plan: Plan, commits: Sequence[Commit]) -> list[Figure]:
    """Follow the burn once as a daemon's follower does."""
    channels = {channel.role: channel for channel in bench.channels}
    start_ns = int(commits[0].batches[0].t_ns[0])
    live, growing = LiveTrial(channels, plan, start_ns), GrowingGrid(channels, start_ns)
    followed_s = placed_s = 0.0
    analysed_s = []
    every = len(commits) // MOMENTS
    for number, commit in enumerate(commits, start=1):
        began_s = time.process_time()
        live.take(commit.batches)
        followed_s += time.process_time() - began_s
        began_s = time.process_time()
        seconds = growing.add(commit.batches)
        growing.grid(seconds)
        placed_s += time.process_time() - began_s
        if number % every == 0:
            curves = curves_of((batch for one in commits[:number] for batch in one.batches), channels, start_ns)
            began_s = time.process_time()
            analyse(curves, channels, plan, tracked=Tracked())
            analysed_s.append(time.process_time() - began_s)
    length_s = float(len(commits))
    return [
        Figure(
            "tracking once a second",
            length_s / followed_s,
            "benches/core",
            Other("the final analysis each second", len(analysed_s) / sum(analysed_s)),
            Other("putting samples on the grid", length_s / placed_s),
        )
    ]
