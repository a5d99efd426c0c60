"""Samples on their way to the disk and back: no doubles, no silent loss, in commit order."""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import count, pairwise

import numpy as np

from emberline.bench.samples import SampleBatch
from emberline.store import blocks
from emberline.store.additions import count_additions, last_end_ns
from emberline.store.errors import StoreDamagedError
from emberline.store.records import CommitReceipt, Gap, Portion, Tally

PAGE = 64
"""Blocks read in one transaction; short ones, since an open reader keeps the journal from shrinking."""

GROWN = """
UPDATE spans SET next_seq = :after WHERE device = :d AND boot = :b AND channel = :c AND next_seq = :first
AND NOT EXISTS (SELECT 1 FROM spans WHERE device = :d AND boot = :b AND channel = :c
                AND first_seq BETWEEN :first AND :after)
AND NOT EXISTS (SELECT 1 FROM gaps WHERE device = :d AND boot = :b AND channel = :c
                AND first_seq < :after AND next_seq > :first)
"""
"""Has a range grow by a batch that follows it and touches nothing else, as nearly all do: one statement for five."""

Range = tuple[int, int]


def commit(connection: sqlite3.Connection, portions: Sequence[Portion]) -> list[CommitReceipt]:
    """Store what is new in each portion, then flag its losses; runs inside the writer's transaction.

    Raises:
        ValueError: A batch has arrays of different lengths, or times that decrease.
    """
    _require_sound([batch for portion in portions for batch in portion.batches])
    stored = [_new(connection, portion) for portion in portions]
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'blocks'").fetchone()
    identities = count(1 + (row[0] if row else 0))
    commits = [blocks.Commit(next(identities), batches) if batches else None for batches in stored]
    _add_blocks(connection, [(portion, one) for portion, one in zip(portions, commits, strict=True) if one is not None])
    ended_ns = last_end_ns(connection)
    receipts = []
    for portion, batches, one in zip(portions, stored, commits, strict=True):
        flagged = tuple(part for gap in portion.gaps for part in _add_gap(connection, portion.bench, gap))
        begins_ns = [int(batch.t_ns[0]) for batch in batches] + [gap.start_ns for gap in flagged]
        late = portion.trial is None and min(begins_ns, default=ended_ns + 1) <= ended_ns
        added_to = count_additions(connection, portion.bench, batches, flagged) if late else ()
        repeated = sum(map(len, portion.batches)) - sum(map(len, batches))
        receipts.append(CommitReceipt(None if one is None else one.id, batches, repeated, flagged, added_to))
    return receipts


def read_page(
    connection: sqlite3.Connection, bench: str, trial: str | None, start_ns: int, end_ns: int, after: int
) -> tuple[list[blocks.Commit], int | None]:
    """Return some commits in their order, cut to a time window, and the id after which to go on; None at the end.

    Args:
        connection: Open for reading.
        bench: Id of the bench.
        trial: Owner of the samples, or None for those that the bench sent.
        start_ns: Begin of the window.
        end_ns: End of the window, which still belongs to it.
        after: Only commits with a greater id.
    """
    rows = connection.execute(
        "SELECT last_id, codec, payload FROM blocks WHERE bench = ? AND trial IS ? AND last_id > ? AND end_ns >= ?"
        " AND start_ns <= ? ORDER BY last_id LIMIT ?",
        (bench, trial, after, start_ns, end_ns, PAGE),
    ).fetchall()
    # Blocks may be merged between two pages; the ids of the commits inside keep the place.
    commits = [
        replace(one, batches=tuple(part for batch in one.batches for part in _within(batch, start_ns, end_ns)))
        for block in blocks.decode_each([(codec, payload) for _, codec, payload in rows])
        for one in block
        if one.id > after
    ]
    return [one for one in commits if one.batches], rows[-1][0] if len(rows) == PAGE else None


def extent(connection: sqlite3.Connection, bench: str, trial: str | None, start_ns: int, end_ns: int) -> Range:
    """Return the number of samples in the blocks that touch a time window, and the id of the newest commit in them.

    Neither stays as it was when samples are added; both may change when blocks are merged. See `read_page`.
    """
    row = connection.execute(
        "SELECT coalesce(sum(samples), 0), coalesce(max(last_id), 0) FROM blocks WHERE bench = ? AND trial IS ?"
        " AND end_ns >= ? AND start_ns <= ?",
        (bench, trial, start_ns, end_ns),
    ).fetchone()
    return int(row[0]), int(row[1])


def check_next(connection: sqlite3.Connection, after: int) -> tuple[int, int] | None:
    """Decode the next few blocks; return their number of samples and the id to go on after, None at the end.

    Raises:
        StoreDamagedError: A block cannot be read, or does not hold as many samples as are said.
    """
    rows = connection.execute(
        "SELECT id, samples, codec, payload FROM blocks WHERE id > ? ORDER BY id LIMIT ?", (after, PAGE)
    ).fetchall()
    if not rows:
        return None
    total = 0
    decoded = blocks.decode_each([(codec, payload) for _, _, codec, payload in rows])
    for (identity, said, _, _), commits in zip(rows, decoded, strict=True):
        held = sum(len(batch) for commit in commits for batch in commit.batches)
        if held != said:
            raise StoreDamagedError(f"block {identity} holds {held} samples instead of {said}: restore from a backup")
        total += held
    return total, rows[-1][0]


def probe(connection: sqlite3.Connection) -> None:
    """Read and decode the newest block.

    Raises:
        StoreDamagedError: It cannot be read.
    """
    row = connection.execute("SELECT payload, codec FROM blocks ORDER BY id DESC LIMIT 1").fetchone()
    if row is not None:
        blocks.decode(*row)


def newest_commit(connection: sqlite3.Connection) -> int:
    """Return the id of the newest commit; 0 where there is none."""
    return int(connection.execute("SELECT coalesce(max(last_id), 0) FROM blocks").fetchone()[0])


def newest_ns(connection: sqlite3.Connection, bench: str | None) -> int | None:
    """Return the time of the newest sample that a bench sent, or any bench; None where there is none."""
    row = connection.execute(
        "SELECT end_ns FROM blocks WHERE trial IS NULL AND bench = coalesce(?, bench) ORDER BY end_ns DESC LIMIT 1",
        (bench,),
    ).fetchone()
    return None if row is None else int(row[0])


def next_seq(connection: sqlite3.Connection, device: str, boot: int, channel: str) -> int:
    """Return the number after the greatest one that is stored or flagged lost; 0 for an unknown stream."""
    row = connection.execute(
        "SELECT max(next_seq) FROM (SELECT next_seq FROM spans WHERE device = :d AND boot = :b AND channel = :c"
        " UNION ALL SELECT next_seq FROM gaps WHERE device = :d AND boot = :b AND channel = :c)",
        {"d": device, "b": boot, "c": channel},
    ).fetchone()
    return int(row[0] or 0)


def next_boot(connection: sqlite3.Connection, device: str) -> int:
    """Return the number after the greatest boot id whose samples are stored; 0 for an unknown device."""
    row = connection.execute("SELECT max(boot) FROM spans WHERE device = ?", (device,)).fetchone()
    return 0 if row[0] is None else int(row[0]) + 1


def missing(connection: sqlite3.Connection, device: str, boot: int, channel: str) -> list[Range]:
    """Return the ranges between known samples that are neither stored nor flagged, as (first, next)."""
    known = _ranges(connection, "spans", device, boot, channel) + _ranges(connection, "gaps", device, boot, channel)
    known.sort()
    return [(before[1], after[0]) for before, after in pairwise(known) if before[1] < after[0]]


def tally(connection: sqlite3.Connection, device: str, boot: int, channel: str) -> Tally:
    """Return how many samples of a stream are stored and how many are flagged lost."""
    sums = [
        sum(after - before for before, after in _ranges(connection, table, device, boot, channel))
        for table in ("spans", "gaps")
    ]
    return Tally(*sums)


def read_gaps(connection: sqlite3.Connection, bench: str, start_ns: int, end_ns: int) -> list[Gap]:
    """Return the flagged losses of a bench that touch a time window, in order of time."""
    rows = connection.execute(
        "SELECT device, boot, channel, first_seq, next_seq, start_ns, end_ns, reason FROM gaps"
        " WHERE bench = ? AND start_ns <= ? AND end_ns >= ? ORDER BY start_ns, device, channel, first_seq",
        (bench, end_ns, start_ns),
    )
    return [Gap(*row) for row in rows]


def _require_sound(batches: Sequence[SampleBatch]) -> None:
    """Check all batches of a commit at once; the error names the first that is not sound.

    Raises:
        ValueError: Its arrays differ in length, or its times decrease.
    """
    for batch in batches:
        if not len(batch.t_ns) == len(batch.raw) == len(batch.flags):
            raise ValueError(f"{_numbers(batch)}: times, values and flags differ in number")
    held = [batch for batch in batches if len(batch)]
    if not held:
        return
    times_ns = np.concatenate([batch.t_ns for batch in held])
    ends = np.cumsum([len(batch) for batch in held])
    decreases = times_ns[1:] < times_ns[:-1]
    decreases[ends[:-1] - 1] = False
    if decreases.any():
        wrong = held[int(np.searchsorted(ends, np.argmax(decreases), side="right"))]
        raise ValueError(f"{_numbers(wrong)}: times decrease within the batch")


def _numbers(batch: SampleBatch) -> str:
    return f"samples {batch.first_seq} to {batch.next_seq - 1} of {batch.device}/{batch.channel}"


def _new(connection: sqlite3.Connection, portion: Portion) -> tuple[SampleBatch, ...]:
    """Enter the numbers of a portion's samples into the known ranges and return those that were new."""
    new: list[SampleBatch] = []
    for batch in portion.batches:
        if len(batch):
            new += [_cut(batch, *part) for part in _add_span(connection, batch)]
    return tuple(new)


def _add_blocks(connection: sqlite3.Connection, commits: Sequence[tuple[Portion, blocks.Commit]]) -> None:
    """Enter a block for each commit."""
    payloads = blocks.encode_each([[commit] for _, commit in commits])
    connection.executemany(
        "INSERT INTO blocks (id, last_id, bench, trial, start_ns, end_ns, samples, commits, codec, payload)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, 1, ?, ?)",
        [
            (
                commit.id,
                commit.id,
                portion.bench,
                portion.trial,
                min(int(batch.t_ns[0]) for batch in commit.batches),
                max(int(batch.t_ns[-1]) for batch in commit.batches),
                sum(map(len, commit.batches)),
                blocks.CODEC,
                payload,
            )
            for (portion, commit), payload in zip(commits, payloads, strict=True)
        ],
    )


def _add_span(connection: sqlite3.Connection, batch: SampleBatch) -> list[Range]:
    """Enter a batch's numbers into the known ranges and return the parts that were new."""
    key = (batch.device, batch.boot, batch.channel)
    first, after = batch.first_seq, batch.next_seq
    if connection.execute(GROWN, {"d": key[0], "b": key[1], "c": key[2], "first": first, "after": after}).rowcount:
        return [(first, after)]
    touching = _touching(connection, "spans", key, first, after)
    new = _subtracted((first, after), touching)
    if new:
        connection.execute(
            "DELETE FROM spans WHERE device = ? AND boot = ? AND channel = ? AND first_seq <= ? AND next_seq >= ?",
            (*key, after, first),
        )
        merged = (min([first, *(span[0] for span in touching)]), max([after, *(span[1] for span in touching)]))
        connection.execute("INSERT INTO spans VALUES (?, ?, ?, ?, ?)", (*key, *merged))
        for part in new:
            _shrink_gaps(connection, key, part)
    return new


def _add_gap(connection: sqlite3.Connection, bench: str, gap: Gap) -> list[Gap]:
    """Flag the part of a loss that is neither stored nor flagged yet."""
    key = (gap.device, gap.boot, gap.channel)
    known = [
        span for table in ("spans", "gaps") for span in _touching(connection, table, key, gap.first_seq, gap.next_seq)
    ]
    parts = [
        replace(gap, first_seq=first, next_seq=after)
        for first, after in _subtracted((gap.first_seq, gap.next_seq), sorted(known))
    ]
    for part in parts:
        _insert_gap(connection, bench, part)
    return parts


def _shrink_gaps(connection: sqlite3.Connection, key: tuple[str, int, str], found: Range) -> None:
    """Take samples that turned up after all out of the flagged losses."""
    columns = "bench, device, boot, channel, first_seq, next_seq, start_ns, end_ns, reason"
    where = "WHERE device = ? AND boot = ? AND channel = ? AND first_seq < ? AND next_seq > ?"
    arguments = (*key, found[1], found[0])
    rows = connection.execute(f"SELECT {columns} FROM gaps {where}", arguments).fetchall()  # noqa: S608
    connection.execute(f"DELETE FROM gaps {where}", arguments)  # noqa: S608
    for bench, *fields in rows:
        gap = Gap(*fields)
        for first, after in _subtracted((gap.first_seq, gap.next_seq), [found]):
            _insert_gap(connection, bench, replace(gap, first_seq=first, next_seq=after))


def _insert_gap(connection: sqlite3.Connection, bench: str, gap: Gap) -> None:
    connection.execute(
        "INSERT INTO gaps (bench, device, boot, channel, first_seq, next_seq, start_ns, end_ns, reason)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (bench, gap.device, gap.boot, gap.channel, gap.first_seq, gap.next_seq, gap.start_ns, gap.end_ns, gap.reason),
    )


def _touching(
    connection: sqlite3.Connection, table: str, key: tuple[str, int, str], first: int, after: int
) -> list[Range]:
    return connection.execute(
        f"SELECT first_seq, next_seq FROM {table} WHERE device = ? AND boot = ? AND channel = ?"  # noqa: S608
        " AND first_seq <= ? AND next_seq >= ? ORDER BY first_seq",
        (*key, after, first),
    ).fetchall()


def _ranges(connection: sqlite3.Connection, table: str, device: str, boot: int, channel: str) -> list[Range]:
    return connection.execute(
        f"SELECT first_seq, next_seq FROM {table} WHERE device = ? AND boot = ? AND channel = ?"  # noqa: S608
        " ORDER BY first_seq",
        (device, boot, channel),
    ).fetchall()


def _subtracted(whole: Range, taken: Sequence[Range]) -> list[Range]:
    """Return what is left of a range without the taken ones, which are sorted."""
    left, at = [], whole[0]
    for first, after in taken:
        if first > at:
            left.append((at, min(first, whole[1])))
        at = max(at, after)
        if at >= whole[1]:
            break
    if at < whole[1]:
        left.append((at, whole[1]))
    return left


def _cut(batch: SampleBatch, first: int, after: int) -> SampleBatch:
    if (first, after) == (batch.first_seq, batch.next_seq):
        return batch
    part = slice(first - batch.first_seq, after - batch.first_seq)
    return replace(batch, first_seq=first, t_ns=batch.t_ns[part], raw=batch.raw[part], flags=batch.flags[part])


def _within(batch: SampleBatch, start_ns: int, end_ns: int) -> Iterator[SampleBatch]:
    low = int(np.searchsorted(batch.t_ns, start_ns, side="left"))
    high = int(np.searchsorted(batch.t_ns, end_ns, side="right"))
    if low < high:
        yield _cut(batch, batch.first_seq + low, batch.first_seq + high)
