"""The room that samples take on the disk, and how fast a trial is written out for other programs.

Room: baselines are CSV and plain rows of SQLite; the limit is Parquet with zstd, by the archive's encodings or those
that the package chooses, whichever is smaller. All hold the same: each sample's stream, number, time, raw value, flags
and commit. Export: the baseline writes rows of SQLite with `csv`, the limit a ready table with pyarrow.
"""

import csv
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import fsspec
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from benchmarks.service.timing import in_turns
from benchmarks.service.verdict import Bar, at_most
from benchmarks.speed.figures import Figure, Other
from benchmarks.speed.hour import BENCH, START_NS, Row, rows_of
from emberline.app.exporting import export_trial
from emberline.app.stored import STORE_NAME
from emberline.bench.bench_file import Bench
from emberline.service.bench_fit import bench_text
from emberline.store.archive_file import row_groups, write_file
from emberline.store.blocks import Commit
from emberline.store.store import Store

MOST_BYTES, MOST_OF_PARQUET = 2.0, 1.3
ROW_TABLE = (
    "CREATE TABLE samples (commit_id INTEGER, stream INTEGER, seq INTEGER, t_ns INTEGER, raw REAL, flags INTEGER)"
)


def measure(folder: Path, bench: Bench, commits: Sequence[Commit], times: int) -> tuple[list[Figure], list[Bar]]:
    """Store commits in several ways, then write them out in several ways."""
    data = folder / "data"
    data.mkdir()
    rows = rows_of(commits)
    with Store.open(data / STORE_NAME, lambda: START_NS) as store:
        empty = _used_bytes(data / STORE_NAME)
        for commit in commits:
            store.commit(BENCH, commit.batches)
        trial = store.create_trial(bench=BENCH, start_ns=START_NS, bench_text=bench_text(bench))
        store.end_trial(trial.id, rows[-1][5] + 1)
        grown = _used_bytes(data / STORE_NAME)
        store.compact(trial.id)
    count = len(rows)
    packed = (_used_bytes(data / STORE_NAME) - empty) / count
    parquet = min(_archived(folder, commits), _parquet(folder, rows)) / count
    limit = Other("Parquet, zstd", parquet)
    unit = "bytes/sample"
    kept = Figure("store, after compaction", packed, unit, Other("CSV", _csv_bytes(folder, rows) / count), limit)
    fresh = Figure(
        "store, as it is written",
        (grown - empty) / count,
        unit,
        Other("SQLite rows", _rows(folder, rows) / count),
        limit,
    )
    bars = [
        at_most("store after compaction", packed, MOST_BYTES, unit),
        at_most("store after compaction, times Parquet", kept.by_limit, MOST_OF_PARQUET),
    ]
    return [kept, fresh, *_exports(folder, data, trial.id, count, times)], bars


def _used_bytes(path: Path) -> int:
    """Return the bytes of a database's pages in use, those in its journal among them."""
    with closing(sqlite3.connect(path)) as connection:
        pages, free, size = (
            int(connection.execute(f"PRAGMA {name}").fetchone()[0])
            for name in ("page_count", "freelist_count", "page_size")
        )
    return (pages - free) * size


def _csv_bytes(folder: Path, rows: Sequence[Row]) -> int:
    path = folder / "rows.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    return path.stat().st_size


def _rows(folder: Path, rows: Sequence[Row]) -> int:
    path = folder / "rows.db"
    streams = {stream: number for number, stream in enumerate(dict.fromkeys(row[1:4] for row in rows))}
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(ROW_TABLE)
        connection.executemany(
            "INSERT INTO samples VALUES (?, ?, ?, ?, ?, ?)", ((row[0], streams[row[1:4]], *row[4:]) for row in rows)
        )
    return _used_bytes(path)


def _archived(folder: Path, commits: Sequence[Commit]) -> int:
    path = folder / "archived.parquet"
    write_file(fsspec.filesystem("file"), str(path), {}, row_groups(commits))
    return path.stat().st_size


def _parquet(folder: Path, rows: Sequence[Row]) -> int:
    path = folder / "rows.parquet"
    names = ("commit", "device", "boot", "channel", "seq", "t_ns", "raw", "flags")
    ordered = sorted(rows, key=lambda row: row[1:5])  # what is alike packs best
    table = pa.table(dict(zip(names, map(list, zip(*ordered, strict=True)), strict=True)))
    pyarrow.parquet.write_table(table, path, compression="zstd")
    return path.stat().st_size


def _exports(folder: Path, data: Path, trial: str, count: int, times: int) -> list[Figure]:
    table = pyarrow.parquet.read_table(folder / "rows.parquet")

    def plain() -> None:
        with (
            closing(sqlite3.connect(folder / "rows.db")) as connection,
            (folder / "plain.csv").open("w", newline="", encoding="utf-8") as file,
        ):
            csv.writer(file).writerows(connection.execute("SELECT * FROM samples"))

    def export(name: str) -> None:
        export_trial(data, trial, folder / name, raw=True, overwrite=True)

    taken_s = in_turns(
        {
            "csv": lambda: export("trial.csv"),
            "parquet": lambda: export("trial.parquet"),
            "plain": plain,
            "least": lambda: pyarrow.csv.write_csv(table, folder / "least.csv"),
        },
        times,
    )
    rate = {name: count / seconds for name, seconds in taken_s.items()}
    baseline, limit = Other("SQLite rows by `csv`", rate["plain"]), Other("a ready table by pyarrow", rate["least"])
    return [
        Figure("export of every sample, CSV", rate["csv"], "samples/s", baseline, limit),
        Figure("export of every sample, Parquet", rate["parquet"], "samples/s", baseline, limit),
    ]
