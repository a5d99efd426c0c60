import logging
import sqlite3
from pathlib import Path

import pytest

from emberline.store.errors import StoreBusyError, StoreForeignError
from emberline.store.notices import NoticeKind
from emberline.store.set_aside import set_aside
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, batch, numbers


def now() -> int:
    return NOON_NS


def damaged(path: Path) -> bytes:
    """Fill a store, then overwrite the inside of most of its pages, as a failing card does."""
    with Store.open(path, now) as store:
        for i in range(300):
            store.commit(f"bench {i} " + "x" * 200, [batch(10 * i, 10)])
    data = bytearray(path.read_bytes())
    page = int.from_bytes(data[16:18], "big")
    for start in range(2 * page, len(data), page):
        data[start : start + 64] = b"\xff" * 64
    path.write_bytes(data)
    return bytes(data)


def test_a_damaged_store_is_kept_as_it_is_and_a_new_one_records(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "s"
    was = damaged(path)
    with caplog.at_level(logging.ERROR), Store.open_or_begin_anew(path, now) as store:
        store.commit("b", [batch(0, 10)])
        assert numbers(list(store.batches("b"))) == list(range(10))
        (notice,) = store.notices()
    aside = tmp_path / "s.damaged-20251125T120000Z"
    assert aside.read_bytes() == was
    assert (notice.t_ns, notice.kind) == (NOON_NS, NoticeKind.SET_ASIDE)
    assert aside.name in notice.text
    assert aside.name in caplog.text


def test_a_sound_store_is_opened_as_ever(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s", now) as store:
        store.commit("b", [batch(0, 10)])
    with Store.open_or_begin_anew(tmp_path / "s", now) as store:
        assert store.next_seq("dev", 1, "mass") == 10
        assert store.notices() == []


def test_what_is_no_database_makes_room_too(tmp_path: Path) -> None:
    (tmp_path / "s").write_text("a diary, and a long one\n" * 100)
    with Store.open_or_begin_anew(tmp_path / "s", now) as store:
        assert "diary" not in store.notices()[0].text
    assert (tmp_path / "s.damaged-20251125T120000Z").read_text().startswith("a diary")


def test_another_programs_database_and_a_store_in_use_are_left_alone(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "theirs") as connection:
        connection.execute("CREATE TABLE theirs (x)")
    connection.close()
    with pytest.raises(StoreForeignError):
        Store.open_or_begin_anew(tmp_path / "theirs", now)
    with Store.open(tmp_path / "s", now), pytest.raises(StoreBusyError):
        Store.open_or_begin_anew(tmp_path / "s", now)
    assert not list(tmp_path.glob("*.damaged*"))


def test_damage_found_in_use_sets_the_store_aside_without_another_look(tmp_path: Path) -> None:
    with Store.open(tmp_path / "s", now) as store:
        store.commit("b", [batch(0, 10)])
    with Store.open_or_begin_anew(tmp_path / "s", now, "a page could not be read") as store:
        assert list(store.batches("b")) == []
        assert "a page could not be read" in store.notices()[0].text


def test_the_journal_goes_with_its_store_and_no_earlier_one_is_overwritten(tmp_path: Path) -> None:
    for text in ("first", "second"):
        (tmp_path / "s").write_text(text)
        (tmp_path / "s-wal").write_text(text + " journal")
        set_aside(tmp_path / "s", NOON_NS)
    found = {one.name: one.read_text() for one in tmp_path.iterdir()}
    stem = "s.damaged-20251125T120000Z"
    assert found == {
        stem: "first",
        f"{stem}-wal": "first journal",
        f"{stem}-2": "second",
        f"{stem}-2-wal": "second journal",
    }
