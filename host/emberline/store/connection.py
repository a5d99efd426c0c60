"""Connections to the store's file: one that writes, in a thread of its own, and short ones that only read."""

import logging
import sqlite3
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, TypeVar

from emberline.store.errors import (
    StoreBusyError,
    StoreClosedError,
    StoreDamagedError,
    StoreFullError,
    StoreMissingError,
    StoreReplacedError,
    StoreUnwritableError,
    from_sqlite,
)
from emberline.store.place import file_number
from emberline.store.schema import keep_copy, migrate, require_current, version_of

LOG = logging.getLogger(__name__)
T = TypeVar("T")
P = TypeVar("P")

BUSY_TIMEOUT_MS = 5000
JOURNAL_LIMIT_BYTES = 64 * 1024 * 1024
CACHE_KIB = 512
"""What the writer may keep of the file in memory. It appends; SQLite's usual 2 MB made commits no faster, and let the
program grow with its store for the first hours."""
JOURNALS = ("-wal", "-shm")
"""Endings of the files beside a store that belong to it while it is open, or after a crash."""
WRITE_LIMIT_S = 120.0
"""Longest wait for a write; a commit takes milliseconds, merging the blocks of a long trial a few seconds."""
OPEN_LIMIT_S = 900.0
"""Longest wait for a store to open: all of it is read once, at 20 MB/s on a slow card."""
TURN_S = 0.0005
"""Longest time for which the writer waits for its turn after each statement, where another thread computes: Python's
usual 5 ms let a busy event loop hold a commit of ten statements up for 50 ms."""


def take_short_turns() -> None:
    """Have threads of this process change turns often, so that the writer need not wait long for each of its own."""
    sys.setswitchinterval(min(TURN_S, sys.getswitchinterval()))


class Writer:
    """The one connection that writes.

    Jobs run one after the other in one thread; what a job raises reaches its caller, and nothing of that job is kept.
    Those that wait together share a transaction, and so the wait for the disk: when a fire catches on each of many
    benches, readings would else wait behind as many syncs.
    Closing runs the jobs that wait first. A file on a disk that failed is opened anew before the next job; one that was
    deleted is put back as the open connection knows it.
    """

    def __init__(self, path: Path) -> None:
        """Open or create the file, check it and bring it up to date.

        Raises:
            StoreError: The file is damaged, newer, or cannot be opened.
        """
        self._path = path.resolve()
        self._number: tuple[int, int] | None = None
        self._suspect = False
        self._waiting: deque[tuple[Callable[[sqlite3.Connection], Any], Future[Any]]] = deque()
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store-writer")
        try:
            self._connection = self._thread.submit(_open_for_writing, path).result(timeout=OPEN_LIMIT_S)
            self._number = file_number(self._path)
        except TimeoutError as exc:
            self._thread.shutdown(wait=False)
            raise StoreBusyError(f"{path} did not open within {OPEN_LIMIT_S:.0f} s: is the disk overloaded?") from exc
        except BaseException:
            self._thread.shutdown()
            raise

    def submit(self, job: Callable[[sqlite3.Connection], T]) -> Future[T]:
        """Queue a job; the future gives what it returned, once that is on disk.

        Where it fails, nothing of it is kept. It may have to be run twice, since another that shared its transaction
        failed, and touches nothing but the connection.

        Raises:
            StoreClosedError: The writer was closed.
        """
        future: Future[T] = Future()
        self._waiting.append((job, future))
        try:
            self._queue(self._run_waiting)
        except StoreClosedError:
            # One that is run all the same was taken along by those that waited before it.
            if future.cancel():
                raise
        return future

    def submit_each(
        self, job_of: Callable[[Sequence[P]], Callable[[sqlite3.Connection], list[T]]], parts: Sequence[P]
    ) -> Future[list[T | Exception]]:
        """Queue a job for parts that share a transaction, and so the wait for the disk.

        Where it fails, each part is given a transaction of its own.

        Args:
            job_of: Makes the job for some of the parts, which returns something for each.
            parts: The parts.

        Returns:
            For each part what came of it, or what it raised; raises where the file or its disk takes nothing.

        Raises:
            StoreClosedError: The writer was closed.
        """
        return self._queue(lambda: self._together(job_of, parts))

    def run(self, job: Callable[[sqlite3.Connection], T]) -> T:
        """Run a job as `submit` does and wait for it.

        Raises:
            StoreError: Whatever went wrong; nothing of the job was kept.
        """
        return self._wait(self.submit(job))

    def checkpoint(self) -> None:
        """Move what the journal holds into the store and shorten the journal; readers are not waited for."""

        def job() -> None:
            connection = self._sound_connection()
            connection.execute("PRAGMA busy_timeout = 0")
            try:
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
            except sqlite3.Error as exc:
                raise from_sqlite(exc) from exc
            finally:
                connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")

        self._wait(self._queue(job))

    def close(self) -> None:
        """Run the jobs that wait, close the connection and end the thread; a second call does nothing."""
        try:
            self._thread.submit(lambda: self._connection.close())
        except RuntimeError:
            return
        self._thread.shutdown(wait=True)

    def _queue(self, job: Callable[[], T]) -> Future[T]:
        try:
            return self._thread.submit(job)
        except RuntimeError as exc:
            raise StoreClosedError("the store was closed: open it again") from exc

    @staticmethod
    def _wait(future: Future[T]) -> T:
        try:
            return future.result(timeout=WRITE_LIMIT_S)
        except TimeoutError as exc:
            raise StoreBusyError(f"a write did not end within {WRITE_LIMIT_S:.0f} s: is the disk overloaded?") from exc

    def _run_waiting(self) -> None:
        """Run all jobs that wait; each of them has asked for it, and the first who asked has it done for all."""
        waiting = [self._waiting.popleft() for _ in range(len(self._waiting))]
        taken = [(job, future) for job, future in waiting if future.set_running_or_notify_cancel()]
        jobs = [job for job, _ in taken]
        results: Sequence[Any]
        try:
            # One alone is not run again where it fails: nobody else can be to blame.
            results = self._together(_one_by_one, jobs) if len(jobs) > 1 else list(map(self._in_transaction, jobs))
        except BaseException as error:  # noqa: BLE001 told to the callers, whatever it is
            results = [error] * len(taken)
        for (_, future), result in zip(taken, results, strict=True):
            if isinstance(result, BaseException):
                future.set_exception(result)
            else:
                future.set_result(result)

    def _together(
        self, job_of: Callable[[Sequence[P]], Callable[[sqlite3.Connection], list[T]]], parts: Sequence[P]
    ) -> list[T | Exception]:
        try:
            return [*self._in_transaction(job_of(parts))]
        except (StoreBusyError, StoreFullError, StoreUnwritableError, StoreReplacedError):
            # Of the file or its disk: no part is to blame, and each alone would wait as long again.
            raise
        except Exception:  # noqa: BLE001 told to the caller with the part that raises it again
            jobs = [job_of([part]) for part in parts]
            return list(map(self._alone, jobs))

    def _alone(self, job: Callable[[sqlite3.Connection], list[T]]) -> T | Exception:
        try:
            return self._in_transaction(job)[0]
        except Exception as error:  # noqa: BLE001 told to the caller, whatever it is
            return error

    def _in_transaction(self, job: Callable[[sqlite3.Connection], T]) -> T:
        connection = self._sound_connection()
        try:
            connection.execute("BEGIN IMMEDIATE")
            value = job(connection)
            connection.execute("COMMIT")
        except BaseException as exc:
            # A full disk has rolled back by itself; a second ROLLBACK would hide that error behind its own.
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            if isinstance(exc, sqlite3.Error):
                error = from_sqlite(exc)
                self._suspect = isinstance(error, StoreUnwritableError)
                raise error from exc
            raise
        return value

    def _sound_connection(self) -> sqlite3.Connection:
        """Return the connection, once it is certain that it leads to the file by that name.

        Raises:
            StoreUnwritableError: The disk still fails, or is gone.
            StoreReplacedError: Another file has that name now.
        """
        number = file_number(self._path)
        if number is None:
            self._put_back()
        elif number != self._number:
            raise StoreReplacedError(f"{self._path} was replaced while it was written to: it has to be opened anew")
        elif self._suspect:
            self._open_again()
        return self._connection

    def _put_back(self) -> None:
        """Write what the connection still holds of a deleted file under its name again."""
        folder = file_number(self._path.parent)
        if folder is None or self._number is None or folder[0] != self._number[0]:
            raise StoreUnwritableError(f"{self._path} is gone: is its disk connected?")
        LOG.error("%s was deleted while it was written to; it is put back, with all that it held", self._path)
        keep_copy(self._connection, self._path, before=self._clear_journal)
        # Closed before the file is opened anew: it removes a journal by its name, whoever's that is by then.
        self._connection.close()
        self._open_again()

    def _clear_journal(self) -> None:
        """Remove what is left of the deleted file's journal, which does not belong to the copy."""
        for ending in JOURNALS:
            self._path.with_name(self._path.name + ending).unlink(missing_ok=True)

    def _open_again(self) -> None:
        try:
            fresh = _connected(self._path)
            fresh.execute("PRAGMA journal_mode = WAL")
        except sqlite3.Error as exc:
            raise from_sqlite(exc) from exc
        self._connection.close()
        self._connection, self._number, self._suspect = fresh, file_number(self._path), False


def _one_by_one(jobs: Sequence[Callable[[sqlite3.Connection], T]]) -> Callable[[sqlite3.Connection], list[T]]:
    """Return a job that does several, one after the other."""
    return lambda connection: [job(connection) for job in jobs]


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the file for one short look; all statements inside see one state of it.

    Raises:
        StoreMissingError: There is no file.
        StoreError: It cannot be read.
    """
    if not path.exists():
        raise StoreMissingError(f"there is no store at {path}: import a burn first, or name its folder with --data")
    try:
        with closing(
            sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)
        ) as connection:
            connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
            connection.execute("PRAGMA query_only = ON")
            connection.execute("BEGIN")
            require_current(connection)
            yield connection
    except sqlite3.Error as exc:
        raise from_sqlite(exc) from exc


def _open_for_writing(path: Path) -> sqlite3.Connection:
    try:
        connection = _connected(path, create=True)
    except sqlite3.Error as exc:
        raise from_sqlite(exc) from exc
    try:
        # First, so that another program's database is told as such, whatever state it is in.
        version_of(connection)
        problem = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if problem != "ok":
            raise StoreDamagedError(f"the store {path} is damaged ({problem}): `emberline run` sets it aside")
        migrate(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
    except sqlite3.Error as exc:
        connection.close()
        raise from_sqlite(exc) from exc
    except BaseException:
        connection.close()
        raise
    return connection


def _connected(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """Connect with the settings that keep the data safe; does not touch the file's content."""
    # Only the writer's thread touches the connection, save that the interpreter may free it in another one.
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={'rwc' if create else 'rw'}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
        connection.execute(f"PRAGMA journal_size_limit = {JOURNAL_LIMIT_BYTES}")
        connection.execute("PRAGMA foreign_keys = ON")
    except sqlite3.Error:
        connection.close()
        raise
    return connection
