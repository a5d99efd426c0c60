"""The store as its one writer sees it."""

import logging
import sqlite3
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self

from emberline.bench.findings import Finding, Found
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, Retraction
from emberline.store import (
    alarms,
    corrections,
    findings,
    forwarded,
    inventory,
    notices,
    photos,
    samples,
    series,
    trials,
    upkeep,
)
from emberline.store.connection import Writer
from emberline.store.errors import StoreDamagedError
from emberline.store.notices import Notice, NoticeKind
from emberline.store.place import WriterLock, refuse_network_share
from emberline.store.reader import StoreReader
from emberline.store.records import CommitReceipt, Gap, Note, Portion, Pruned, StoredAlarm, Trial
from emberline.store.set_aside import set_aside
from emberline.trials.corrections import Correction

LOG = logging.getLogger(__name__)


class Store(StoreReader):
    """A store to write to; one program at a time may hold it. Use it as a context manager, or close it.

    Every writing method returns once its change is on disk, and keeps nothing of it when it raises.
    """

    def __init__(self, path: Path, lock: WriterLock, writer: Writer, now_ns: Callable[[], int]) -> None:
        """Use `Store.open`."""
        super().__init__(path)
        self._lock = lock
        self._writer = writer
        self._now_ns = now_ns

    @classmethod
    def open(cls, path: Path, now_ns: Callable[[], int] = time.time_ns) -> Self:
        """Open a store for writing; create it, or bring it up to date, where need be.

        Args:
            path: Its file; the folder must exist.
            now_ns: The clock that stamps what is entered, UTC nanoseconds.

        Raises:
            StorePlaceError: The file lies on a network share, or nothing can be written there.
            StoreBusyError: Another program writes to it.
            StoreDamagedError: The file is damaged, or no database.
            StoreForeignError: It is another program's database.
            StoreVersionError: A newer version wrote it.
        """
        refuse_network_share(path)
        lock = WriterLock(path)
        try:
            return cls(path, lock, Writer(path), now_ns)
        except BaseException:
            lock.release()
            raise

    @classmethod
    def open_or_begin_anew(cls, path: Path, now_ns: Callable[[], int] = time.time_ns, damage: str = "") -> Self:
        """Open a store as `open` does, but set a damaged one aside and begin a new one, which holds a notice of it.

        Args:
            path: Its file; the folder must exist.
            now_ns: The clock that stamps what is entered, UTC nanoseconds.
            damage: What is known to be wrong with the file already; it is set aside without a further look.

        Raises:
            StoreError: As `open`, but for a damaged file.
        """
        if not damage:
            try:
                return cls.open(path, now_ns)
            except StoreDamagedError as error:
                damage = str(error)
        refuse_network_share(path)
        lock = WriterLock(path)
        try:
            at_ns = now_ns()
            aside = set_aside(path, at_ns)
            store = cls(path, lock, Writer(path), now_ns)
        except BaseException:
            lock.release()
            raise
        text = (
            f"The store was damaged and is now {aside.name}; a new one was begun, and earlier trials are in the old"
            f" file or in your backups. What was wrong: {damage.partition(': `emberline run`')[0]}."
        )
        LOG.error("%s", text)
        store.add_notice(Notice(at_ns, NoticeKind.SET_ASIDE, text))
        return store

    def close(self) -> None:
        """Finish what was handed in, close the file and give up the right to write."""
        self._writer.close()
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def commit(
        self, bench: str, batches: Sequence[SampleBatch], gaps: Sequence[Gap] = (), *, trial: str | None = None
    ) -> CommitReceipt:
        """Store samples and flag losses in one transaction.

        Samples whose number in their stream is known are left out; a flagged sample that turns up is stored and
        no longer flagged. So samples sent = samples stored + samples flagged, whatever is repeated.

        Args:
            bench: Id of the bench; entered if new.
            batches: In the order of their arrival.
            gaps: Losses known for good.
            trial: Set where the samples belong to this imported trial alone.

        Raises:
            ValueError: A batch has arrays of different lengths, or times that decrease.
        """
        return self._writer.run(self._commit_job([Portion(bench, batches, gaps, trial)]))[0]

    def submit_commits(self, portions: Sequence[Portion]) -> Future[list[CommitReceipt | Exception]]:
        """Queue what `commit` does, for portions of several benches in one transaction.

        Where they fail together, each is stored by itself.

        Returns:
            The receipt of each, or what `commit` would have raised for it; raises where the file or its disk takes
            nothing.
        """
        return self._writer.submit_each(self._commit_job, portions)

    def _commit_job(self, portions: Sequence[Portion]) -> Callable[[sqlite3.Connection], list[CommitReceipt]]:
        now = self._now_ns()

        def job(connection: sqlite3.Connection) -> list[CommitReceipt]:
            trials.ensure_benches(connection, [portion.bench for portion in portions], now)
            return samples.commit(connection, portions)

        return job

    def create_trial(
        self,
        *,
        bench: str,
        start_ns: int,
        zone: str = "UTC",
        origin: str = "live",
        source: str | None = None,
        relative: bool = False,
        remarks: Sequence[str] = (),
        label: str | None = None,
        bench_text: str = "",
        plan_text: str = "",
    ) -> Trial:
        """Enter a trial under a new id; the arguments are those of `Trial`."""
        return self._writer.run(
            partial(
                trials.create,
                bench=bench,
                start_ns=start_ns,
                zone=zone,
                origin=origin,
                source=source,
                relative=relative,
                remarks=remarks,
                label=label,
                bench_text=bench_text,
                plan_text=plan_text,
                now_ns=self._now_ns(),
            )
        )

    def end_trial(self, trial: str, end_ns: int) -> None:
        """Close a trial at its last moment, and shorten the journal."""
        self._writer.run(lambda connection: trials.end(connection, trial, end_ns))
        self._writer.checkpoint()

    def save_plan(self, trial: str, document: str) -> None:
        """Enter a plan file for a trial; the last one entered counts."""
        self._writer.run(lambda connection: trials.save_plan(connection, trial, document, self._now_ns()))

    def save_events(self, trial: str, events: Sequence[Event], retracted: Sequence[Retraction] = ()) -> None:
        """Replace the events of a trial."""
        self._writer.run(lambda connection: trials.save_events(connection, trial, events, retracted))

    def save_summary(self, trial: str, document: str, version: str, listing: str = "", *, additions: int = 0) -> None:
        """Replace the summary document of a trial, worked out by a software version.

        Args:
            trial: Id of the trial.
            document: The summary.
            version: Version of the software.
            listing: What a list of trials shows of it.
            additions: Those of the trial before its samples were read.
        """
        now_ns = self._now_ns()
        self._writer.run(
            lambda connection: trials.save_summary(connection, trial, document, version, listing, additions, now_ns)
        )

    def add_correction(self, trial: str, entry: Correction, plan_text: str | None = None) -> None:
        """Keep what a person changed of a trial; its number must be the next one.

        Args:
            trial: Id of the trial.
            entry: The correction.
            plan_text: The plan that it makes; None where it makes none.
        """
        now_ns = self._now_ns()
        self._writer.run(lambda connection: corrections.add(connection, trial, entry, plan_text, now_ns))

    def add_photo(self, trial: str, taken_ns: int, size: tuple[int, int], content: bytes) -> int:
        """Keep a photo of a trial and return its number; see `photos.add`."""
        return self._writer.run(lambda connection: photos.add(connection, trial, taken_ns, size, content))

    def remove_photo(self, trial: str, photo: int) -> None:
        """Remove a photo of a trial."""
        self._writer.run(lambda connection: photos.remove(connection, trial, photo))

    def add_note(self, bench: str, note: Note) -> None:
        """Keep a person's remark."""
        self._writer.run(lambda connection: trials.add_note(connection, bench, note, self._now_ns()))

    def add_entry(self, kind: str, name: str, document: str, *, retired: bool = False) -> None:
        """Enter a version of a fuel lot, a pot or a stove; earlier ones are kept, the last one counts."""
        now = self._now_ns()
        self._writer.run(lambda connection: inventory.add(connection, kind, name, document, now, retired=retired))

    def save_guide(self, bench: str, document: str) -> None:
        """Replace the state of a bench's guided burn; an empty one takes it away."""
        now = self._now_ns()

        def job(connection: sqlite3.Connection) -> None:
            trials.ensure_bench(connection, bench, now)
            inventory.save_guide(connection, bench, document, now)

        self._writer.run(job)

    def plan_series(self, name: str, document: str) -> None:
        """Enter a planned series, which is never changed.

        Raises:
            SeriesKnownError: One of that name is planned already.
        """
        self._writer.run(lambda connection: series.plan(connection, name, document, self._now_ns()))

    def compact(self, trial: str) -> int:
        """Merge the blocks of an ended trial and return how many rows that saved.

        What others hand in meanwhile is stored in between. Commits keep their order, so a replay sees no difference,
        and what a server has not taken yet stays as it is.

        Raises:
            ValueError: The trial is still open.
        """
        ended, saved, after = self.trial(trial), 0, 0
        while (part := self._writer.run(partial(upkeep.compact_next, trial=ended, after=after))) is not None:
            saved, after = saved + part[0], part[1]
        return saved

    def compact_old(self, before_ns: int) -> int:
        """Merge the blocks that benches sent before a moment and return how many rows that saved; see `compact`."""
        saved = 0
        for bench in self.benches():
            after = 0
            while (part := self._writer.run(partial(self._old_part, bench, before_ns, after))) is not None:
                saved, after = saved + part[0], part[1]
        return saved

    @staticmethod
    def _old_part(bench: str, before_ns: int, after: int, connection: sqlite3.Connection) -> tuple[int, int] | None:
        return upkeep.compact_old_next(connection, bench, before_ns, after)

    def prune(self, before_ns: int) -> Pruned:
        """Drop samples that are older, belong to no trial and wait for no server, and notices as old.

        What others hand in meanwhile is stored in between.
        """
        dropped = 0
        while True:
            pruned = self._writer.run(lambda connection: upkeep.prune_next(connection, before_ns))
            dropped += pruned.blocks
            if not pruned.blocks:
                return Pruned(dropped, pruned.waiting)

    def add_finding(self, bench: str, channel: str, found: Found, who: str) -> Finding:
        """Keep what a calibration or check of a channel found."""
        now_ns = self._now_ns()
        return self._writer.run(lambda connection: findings.add(connection, bench, channel, found, who, now_ns))

    def recalibrate(self, trial: str, bench_text: str | None, who: str) -> None:
        """Have a trial's record read with another bench file; see `findings.recalibrate`."""
        now_ns = self._now_ns()
        self._writer.run(lambda connection: findings.recalibrate(connection, trial, bench_text, who, now_ns))

    def add_notice(self, notice: Notice) -> None:
        """Keep a notice of the recording itself."""
        self._writer.run(lambda connection: notices.add(connection, notice))

    def submit_proof(self) -> Future[None]:
        """Queue a job that changes nothing; its end shows that the writer neither hangs nor is shut out."""
        return self._writer.submit(lambda _: None)

    def advance_outbox(self, server: str, commit: int) -> None:
        """Note that a server has taken every commit up to this one; from now on it is waited for."""
        self._writer.run(lambda connection: upkeep.advance_outbox(connection, server, commit))

    def plan_forwarding(self, server: str, trial: str, revision: int, lines: list[str]) -> None:
        """Keep the lines that a server is about to be sent of a trial; see `forwarded.plan`."""
        self._writer.run(lambda connection: forwarded.plan(connection, server, trial, revision, lines))

    def settle_forwarding(self, server: str, trial: str, revision: int, change: int) -> None:
        """Note that a server has a revision of a trial; see `forwarded.settle`."""
        self._writer.run(lambda connection: forwarded.settle(connection, server, trial, revision, change))

    def keep_alarms(self, kept: Sequence[StoredAlarm]) -> None:
        """Keep alarms as they stand now; see `alarms.keep`."""
        now_ns = self._now_ns()

        def job(connection: sqlite3.Connection) -> None:
            for one in kept:
                alarms.keep(connection, one, now_ns)

        self._writer.run(job)
