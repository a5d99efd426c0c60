from pathlib import Path

import pytest

from disk_fixture import disk_of
from emberline.store.errors import StoreClosedError, StoreMissingError, StorePlaceError
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from unit.store.made_up import batch, numbers


def test_a_reader_sees_commits_of_a_writer_and_stays_when_it_has_closed(tmp_path: Path) -> None:
    reader = StoreReader(tmp_path / "s")
    with pytest.raises(StoreMissingError):
        reader.trials()
    with Store.open(tmp_path / "s") as store:
        store.commit("b", [batch(0, 10)])
        assert numbers(list(reader.batches("b"))) == list(range(10))
    assert numbers(list(reader.batches("b"))) == list(range(10))
    with pytest.raises(StoreClosedError):
        store.commit("b", [batch(10, 10)])


def test_a_backup_that_finds_no_room_leaves_nothing(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s"), disk_of(1, tmp_path / "disk") as disk:
        (disk / "full").write_bytes(bytes(2**20 - 8192))
        with pytest.raises(StorePlaceError, match="full"):
            StoreReader(tmp_path / "s").backup(disk / "copy")
        assert [file.name for file in disk.iterdir()] == ["full"]


def test_a_backup_made_while_writing_holds_all_that_was_committed_before(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s") as store:
        store.commit("b", [batch(0, 100)])
        store.backup(tmp_path / "copy")
        store.commit("b", [batch(100, 100)])
        with pytest.raises(StorePlaceError, match="exists"):
            store.backup(tmp_path / "copy")
        with pytest.raises(StorePlaceError, match="no folder"):
            store.backup(tmp_path / "nowhere" / "copy")
        (tmp_path / "other.unfinished").mkdir()
        with pytest.raises(StorePlaceError, match="cannot write"):
            store.backup(tmp_path / "other")
        (tmp_path / "other.unfinished").rmdir()
    copy = StoreReader(tmp_path / "copy")
    assert numbers(list(copy.batches("b"))) == list(range(100))
    assert not list(tmp_path.glob("*.unfinished"))
    with Store.open(tmp_path / "copy") as again:
        assert again.next_seq("dev", 1, "mass") == 100
