"""The shape of the store's file, and the numbered steps that lead to it."""

import os
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from functools import cache
from importlib.resources import files
from pathlib import Path

from emberline.store.errors import StoreForeignError, StorePlaceError, StoreVersionError

STORE_NAME = "emberline.sqlite3"
"""Name of the store in a data directory."""

APPLICATION_ID = 0x454D4252
"""Stands in the header of every store ("EMBR"), so that another program's database is never taken for one."""


@cache
def migrations() -> tuple[str, ...]:
    """Return the SQL of all steps; step `i` leads from version `i` to `i + 1`."""
    folder = files("emberline.store") / "migrations"
    steps = sorted((step for step in folder.iterdir() if step.name.endswith(".sql")), key=lambda step: step.name)
    return tuple(step.read_text(encoding="utf-8") for step in steps)


def version_of(connection: sqlite3.Connection) -> int:
    """Return the version of an open file; 0 for an empty one.

    Raises:
        StoreForeignError: The file is a database of another program.
    """
    application: int = connection.execute("PRAGMA application_id").fetchone()[0]
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    tables: int = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if application != APPLICATION_ID and (application or version or tables):
        raise StoreForeignError("this file is a database of another program: choose another data folder")
    return version


def migrate(connection: sqlite3.Connection, path: Path, steps: Sequence[str] | None = None) -> None:
    """Bring a file up to date, each step in one transaction; keep a copy of an older file beside it first.

    Args:
        connection: Open for writing, outside a transaction.
        path: Where the file lies; the copy is named after it and the old version.
        steps: SQL of the steps; by default those of this package.

    Raises:
        StoreVersionError: A newer version wrote the file.
        StoreForeignError: The file is a database of another program.
    """
    steps = migrations() if steps is None else steps
    version = version_of(connection)
    if version > len(steps):
        raise StoreVersionError(
            f"the store is of version {version}, this program knows versions up to {len(steps)}: use a newer Emberline"
        )
    if 0 < version < len(steps):
        keep_copy(connection, path.with_name(f"{path.name}.version-{version}"))
    for number in range(version, len(steps)):
        # executescript ends an open transaction, so the script has to hold its own.
        script = (
            f"BEGIN IMMEDIATE;\n{steps[number]}\nPRAGMA application_id = {APPLICATION_ID};\n"
            f"PRAGMA user_version = {number + 1};\nCOMMIT;"
        )
        try:
            connection.executescript(script)
        except sqlite3.Error:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def require_current(connection: sqlite3.Connection) -> None:
    """Check that a reader understands the file.

    Raises:
        StoreVersionError: The file is older or newer.
        StoreForeignError: The file is a database of another program.
    """
    version, known = version_of(connection), len(migrations())
    if version > known:
        raise StoreVersionError(
            f"the store is of version {version}, this program knows versions up to {known}: use a newer Emberline"
        )
    if version < known:
        raise StoreVersionError(
            f"the store is of version {version}, older than {known}: any command that writes to it brings it up to date"
        )


def keep_copy(connection: sqlite3.Connection, target: Path, before: Callable[[], None] | None = None) -> None:
    """Copy an open store, also while it is written to, and give the copy its name only when it is whole and checked.

    Args:
        connection: The store.
        target: The copy; one that exists is replaced.
        before: Called when the copy is whole, before it gets its name.

    Raises:
        StorePlaceError: The copy cannot be written, or cannot be read back.
    """
    unfinished = target.with_name(target.name + ".unfinished")
    try:
        unfinished.unlink(missing_ok=True)
        with closing(sqlite3.connect(unfinished)) as copy:
            connection.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
            problem = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
        if problem != "ok":
            raise StorePlaceError(f"the copy {unfinished} cannot be read back ({problem}): is that disk sound?")
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        if before is not None:
            before()
        unfinished.replace(target)
    except (sqlite3.Error, OSError) as exc:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
        raise StorePlaceError(f"cannot write {target}: {exc}") from exc
