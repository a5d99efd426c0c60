import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from emberline.store.errors import StoreForeignError, StoreVersionError
from emberline.store.schema import APPLICATION_ID, migrate, migrations, require_current, version_of

FIRST = "CREATE TABLE a (x INTEGER); INSERT INTO a VALUES (7);"
SECOND = "ALTER TABLE a ADD COLUMN y INTEGER NOT NULL DEFAULT 3;"
BROKEN = "ALTER TABLE a ADD COLUMN y INTEGER NOT NULL DEFAULT 3; INSERT INTO nowhere VALUES (1);"


def opened(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, isolation_level=None)


def test_steps_are_numbered_without_holes() -> None:
    folder = Path(__file__).parents[3] / "host" / "emberline" / "store" / "migrations"
    names = sorted(path.name for path in folder.glob("*.sql"))
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))
    assert len(migrations()) == len(names)


def test_a_new_file_gets_every_step(tmp_path: Path) -> None:
    with closing(opened(tmp_path / "s")) as connection:
        migrate(connection, tmp_path / "s")
        assert version_of(connection) == len(migrations())
        require_current(connection)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    assert list(tmp_path.iterdir()) == [tmp_path / "s"]


def test_an_old_file_is_copied_first_and_keeps_its_rows(tmp_path: Path) -> None:
    path = tmp_path / "s"
    with closing(opened(path)) as connection:
        migrate(connection, path, [FIRST])
        migrate(connection, path, [FIRST, SECOND])
        assert connection.execute("SELECT x, y FROM a").fetchall() == [(7, 3)]
        assert version_of(connection) == 2
    with closing(opened(tmp_path / "s.version-1")) as copy:
        assert version_of(copy) == 1
        assert copy.execute("SELECT * FROM a").fetchall() == [(7,)]


def test_a_step_that_fails_halfway_leaves_the_old_version(tmp_path: Path) -> None:
    path = tmp_path / "s"
    with closing(opened(path)) as connection:
        migrate(connection, path, [FIRST])
        with pytest.raises(sqlite3.Error):
            migrate(connection, path, [FIRST, BROKEN])
        assert not connection.in_transaction
        assert version_of(connection) == 1
        assert connection.execute("SELECT * FROM a").fetchall() == [(7,)]
        migrate(connection, path, [FIRST, SECOND])
        assert version_of(connection) == 2


def test_a_newer_file_is_refused_for_writing_and_reading(tmp_path: Path) -> None:
    with closing(opened(tmp_path / "s")) as connection:
        migrate(connection, tmp_path / "s", [FIRST] * 1 + ["SELECT 1;"] * 98)
        with pytest.raises(StoreVersionError, match="newer"):
            migrate(connection, tmp_path / "s")
        with pytest.raises(StoreVersionError, match="newer"):
            require_current(connection)


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    with closing(opened(tmp_path / "s")) as connection:
        connection.execute("CREATE TABLE theirs (x)")
        with pytest.raises(StoreForeignError, match="another program"):
            migrate(connection, tmp_path / "s")
        assert connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID
        assert [row[0] for row in connection.execute("SELECT name FROM sqlite_schema")] == ["theirs"]


def test_a_reader_does_not_guess_at_an_empty_file(tmp_path: Path) -> None:
    with closing(opened(tmp_path / "s")) as connection, pytest.raises(StoreVersionError, match="older"):
        require_current(connection)
