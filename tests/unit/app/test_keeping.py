import sqlite3
from pathlib import Path

import pytest

from emberline.app import OutputError, check_store, health_of, is_store, make_backup
from emberline.app.stored import STORE_NAME
from emberline.store.errors import StoreDamagedError, StoreMissingError
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, batch


@pytest.fixture
def data(tmp_path: Path) -> Path:
    with Store.open(tmp_path / STORE_NAME) as store:
        store.commit("b", [batch(0, 10)])
        store.create_trial(bench="b", start_ns=NOON_NS)
    return tmp_path


def test_without_a_daemon_the_store_tells_its_newest_reading(data: Path) -> None:
    standing = health_of(data)
    assert standing.document is None
    assert "no daemon runs" in standing.why
    assert standing.newest_ns == NOON_NS + 900_000_000


def test_without_a_store_there_is_none(tmp_path: Path) -> None:
    assert health_of(tmp_path).newest_ns is None


def test_a_backup_is_a_store_of_its_own(data: Path) -> None:
    size = make_backup(data, data / "copy")
    assert size == (data / "copy").stat().st_size
    assert len(list(StoreReader(data / "copy").batches("b"))) == 1


def test_a_backup_replaces_only_what_it_is_told_to_and_never_the_store(data: Path) -> None:
    (data / "copy").write_text("an older one")
    with pytest.raises(OutputError, match="--overwrite"):
        make_backup(data, data / "copy")
    make_backup(data, data / "copy", overwrite=True)
    assert check_store(data / "copy") == (1, 10)
    with pytest.raises(OutputError, match="the store itself"):
        make_backup(data, data / STORE_NAME, overwrite=True)
    with pytest.raises(OutputError, match="is a folder"):
        make_backup(data, data)


def test_there_is_nothing_to_back_up_without_a_store(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError, match="--data"):
        make_backup(tmp_path, tmp_path / "copy")
    assert list(tmp_path.iterdir()) == []


def test_what_is_a_store_and_what_is_none(data: Path) -> None:
    (data / "plan.toml").write_text("label = 'x'\n")
    assert is_store(data) == data / STORE_NAME
    assert is_store(data / STORE_NAME) == data / STORE_NAME
    assert is_store(data / "plan.toml") is None
    assert is_store(data / "nowhere") is None


def test_a_store_is_read_from_end_to_end(data: Path) -> None:
    assert check_store(data / STORE_NAME) == (1, 10)


def test_a_block_that_cannot_be_read_is_found(data: Path) -> None:
    with sqlite3.connect(data / STORE_NAME) as connection:
        connection.execute("UPDATE blocks SET samples = 11")
    connection.close()
    with pytest.raises(StoreDamagedError, match="10 samples instead of 11"):
        check_store(data / STORE_NAME)
