"""Connections to the store's file: one that writes, in a thread of its own, and short ones that only read."""

import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

from emberline.store.errors import StoreBusyError, StoreClosedError, StoreDamagedError, StoreMissingError, from_sqlite
from emberline.store.schema import migrate, require_current

T = TypeVar("T")

BUSY_TIMEOUT_MS = 5000
JOURNAL_LIMIT_BYTES = 64 * 1024 * 1024
WRITE_LIMIT_S = 120.0
"""Longest wait for a write; a commit takes milliseconds, merging the blocks of a long trial a few seconds."""


class Writer:
    """The one connection that writes.

    Jobs run one after the other in one thread, each in a transaction of its own; what a job raises reaches its caller
    through the future. Closing runs the jobs that wait first.
    """

    def __init__(self, path: Path) -> None:
        """Open or create the file, check it and bring it up to date.

        Raises:
            StoreError: The file is damaged, newer, or cannot be opened.
        """
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store-writer")
        try:
            self._connection = self._thread.submit(_open_for_writing, path).result(timeout=WRITE_LIMIT_S)
        except BaseException:
            self._thread.shutdown()
            raise

    def submit(self, job: Callable[[sqlite3.Connection], T]) -> Future[T]:
        """Queue a job; the future gives what it returned, once that is on disk.

        Raises:
            StoreClosedError: The writer was closed.
        """
        return self._queue(lambda: self._in_transaction(job))

    def run(self, job: Callable[[sqlite3.Connection], T]) -> T:
        """Run a job and wait for it.

        Raises:
            StoreError: Whatever went wrong; nothing of the job was kept.
        """
        return self._wait(self.submit(job))

    def checkpoint(self) -> None:
        """Move what the journal holds into the store and shorten the journal; readers are not waited for."""

        def job() -> None:
            connection = self._connection
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
            self._thread.submit(self._connection.close)
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

    def _in_transaction(self, job: Callable[[sqlite3.Connection], T]) -> T:
        connection = self._connection
        try:
            connection.execute("BEGIN IMMEDIATE")
            value = job(connection)
            connection.execute("COMMIT")
        except BaseException as exc:
            # A full disk has rolled back by itself; a second ROLLBACK would hide that error behind its own.
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            if isinstance(exc, sqlite3.Error):
                raise from_sqlite(exc) from exc
            raise
        return value


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
        # Only the writer's thread touches the connection, save that the interpreter may free it in another one.
        connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    except sqlite3.Error as exc:
        raise from_sqlite(exc) from exc
    try:
        connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
        problem = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if problem != "ok":
            raise StoreDamagedError(f"the store {path} is damaged ({problem}): move it aside; a new one is begun")
        migrate(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA journal_size_limit = {JOURNAL_LIMIT_BYTES}")
        connection.execute("PRAGMA foreign_keys = ON")
    except sqlite3.Error as exc:
        connection.close()
        raise from_sqlite(exc) from exc
    except BaseException:
        connection.close()
        raise
    return connection
