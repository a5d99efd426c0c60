import sqlite3
from pathlib import Path

import pytest

from emberline.store.errors import (
    StoreBusyError,
    StoreDamagedError,
    StoreError,
    StoreFullError,
    StoreUnwritableError,
    from_sqlite,
)

# Primary result codes and their meaning: https://sqlite.org/rescode.html
CODES = {
    sqlite3.SQLITE_FULL: StoreFullError,
    sqlite3.SQLITE_READONLY: StoreUnwritableError,
    sqlite3.SQLITE_IOERR: StoreUnwritableError,
    sqlite3.SQLITE_IOERR_WRITE: StoreUnwritableError,
    sqlite3.SQLITE_CANTOPEN: StoreUnwritableError,
    sqlite3.SQLITE_CORRUPT: StoreDamagedError,
    sqlite3.SQLITE_CORRUPT_INDEX: StoreDamagedError,
    sqlite3.SQLITE_NOTADB: StoreDamagedError,
    sqlite3.SQLITE_BUSY: StoreBusyError,
    sqlite3.SQLITE_LOCKED: StoreBusyError,
    sqlite3.SQLITE_CONSTRAINT: StoreError,
}


@pytest.mark.parametrize("code", CODES)
def test_each_result_code_becomes_the_error_that_says_what_to_do(code: int) -> None:
    error = sqlite3.OperationalError("made up")
    error.sqlite_errorcode = code
    assert type(from_sqlite(error)) is CODES[code]


def test_an_error_without_a_code_is_told_as_it_is() -> None:
    assert type(from_sqlite(sqlite3.ProgrammingError("a cursor is closed"))) is StoreError
    assert "a cursor is closed" in str(from_sqlite(sqlite3.ProgrammingError("a cursor is closed")))


def test_a_file_that_is_no_database_is_damaged(tmp_path: Path) -> None:
    (tmp_path / "s").write_bytes(b"x" * 4096)
    connection = sqlite3.connect(tmp_path / "s")
    with pytest.raises(sqlite3.DatabaseError) as caught:
        connection.execute("SELECT * FROM sqlite_schema")
    connection.close()
    assert isinstance(from_sqlite(caught.value), StoreDamagedError)
