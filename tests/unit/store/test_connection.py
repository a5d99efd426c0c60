import sqlite3
import sys
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from emberline.store.connection import TURN_S, Writer, reading, take_short_turns
from emberline.store.errors import (
    StoreClosedError,
    StoreDamagedError,
    StoreError,
    StoreFullError,
    StoreMissingError,
    StoreReplacedError,
    StoreUnwritableError,
)


def add_bench(connection: sqlite3.Connection, name: str) -> None:
    connection.execute("INSERT INTO benches VALUES (?, 0)", (name,))


def benches(path: Path) -> list[str]:
    with reading(path) as connection:
        return [row[0] for row in connection.execute("SELECT id FROM benches ORDER BY id")]


def test_settings_that_keep_the_data_safe(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    ask = ("journal_mode", "synchronous", "foreign_keys", "busy_timeout", "journal_size_limit", "cache_size")
    got = writer.run(lambda c: [c.execute(f"PRAGMA {name}").fetchone()[0] for name in ask])
    writer.close()
    assert got == ["wal", 2, 1, 5000, 64 * 1024 * 1024, -512]


def test_a_job_that_raises_is_undone_and_told_and_the_next_one_runs(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")

    def bad(connection: sqlite3.Connection) -> None:
        add_bench(connection, "lost")
        raise KeyError("mine")

    with pytest.raises(KeyError, match="mine"):
        writer.run(bad)
    with pytest.raises(StoreError, match="UNIQUE"):
        writer.run(lambda c: [add_bench(c, name) for name in ("twice", "twice")])  # type: ignore[func-returns-value]
    writer.run(lambda c: add_bench(c, "kept"))
    writer.close()
    assert benches(tmp_path / "s") == ["kept"]


def test_a_full_disk_costs_only_the_commit_that_did_not_fit(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    writer.run(lambda c: add_bench(c, "before"))
    pages = writer.run(lambda c: c.execute("PRAGMA page_count").fetchone()[0])
    writer.run(lambda c: c.execute(f"PRAGMA max_page_count = {pages}").fetchone())
    with pytest.raises(StoreFullError, match="free some room"):
        writer.run(lambda c: add_bench(c, "x" * 100_000))
    assert benches(tmp_path / "s") == ["before"]
    writer.run(lambda c: c.execute(f"PRAGMA max_page_count = {pages + 100}").fetchone())
    writer.run(lambda c: add_bench(c, "x" * 100_000))
    writer.close()
    assert len(benches(tmp_path / "s")) == 2


def adding(names: Sequence[str]) -> Callable[[sqlite3.Connection], list[str]]:
    """Return the job that enters benches, of which one is a bug and one is entered twice."""

    def job(connection: sqlite3.Connection) -> list[str]:
        for name in names:
            add_bench(connection, name)
            if name == "bug":
                raise KeyError("mine")
            if name == "twice":
                add_bench(connection, name)
        return [name.upper() for name in names]

    return job


def test_parts_share_a_transaction(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    seen: list[int] = []

    def looking(names: Sequence[str]) -> Callable[[sqlite3.Connection], list[str]]:
        def job(connection: sqlite3.Connection) -> list[str]:
            made = adding(names)(connection)
            seen.append(len(benches(tmp_path / "s")))
            return made

        return job

    names = [f"b{i:02}" for i in range(20)]
    assert writer.submit_each(looking, names).result(10) == [name.upper() for name in names]
    assert seen == [0]  # within the transaction of the twenty, which nobody else sees yet
    assert benches(tmp_path / "s") == names
    writer.close()


def test_jobs_that_wait_together_share_a_transaction_and_each_is_told_its_own(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    begun, go = threading.Event(), threading.Event()
    seen: list[int] = []

    def hold(_: sqlite3.Connection) -> None:
        begun.set()
        assert go.wait(10)

    def add(name: str) -> Callable[[sqlite3.Connection], str]:
        def job(connection: sqlite3.Connection) -> str:
            made = adding([name])(connection)
            seen.append(len(benches(tmp_path / "s")))
            return made[0]

        return job

    writer.submit(hold)
    assert begun.wait(10)
    together = [writer.submit(add(name)) for name in ("a", "b", "c")]
    go.set()
    assert [one.result(10) for one in together] == ["A", "B", "C"]
    assert seen == [0, 0, 0]  # within the transaction of the three, which nobody else sees yet
    begun.clear()
    go.clear()
    writer.submit(hold)
    assert begun.wait(10)
    before, bug, given_up, after = (writer.submit(add(name)) for name in ("before", "bug", "given up", "after"))
    assert given_up.cancel()
    go.set()
    assert (before.result(10), after.result(10)) == ("BEFORE", "AFTER")
    with pytest.raises(KeyError, match="mine"):
        bug.result(10)
    writer.close()
    assert benches(tmp_path / "s") == ["a", "after", "b", "before", "c"]


def test_a_job_alone_is_not_run_again_where_it_fails(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    calls: list[int] = []

    def bad(_: sqlite3.Connection) -> None:
        calls.append(1)
        raise KeyError("mine")

    with pytest.raises(KeyError):
        writer.run(bad)
    assert calls == [1]
    writer.close()


def test_one_that_fails_costs_those_that_share_its_transaction_nothing(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    before, bug, twice, after = writer.submit_each(adding, ["before", "bug", "twice", "after"]).result(10)
    assert (before, after) == ("BEFORE", "AFTER")
    assert isinstance(bug, KeyError)
    assert isinstance(twice, StoreError)
    assert benches(tmp_path / "s") == ["after", "before"]
    writer.close()


def test_a_disk_that_takes_nothing_is_told_for_all_that_share_a_transaction(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    writer.run(lambda c: add_bench(c, "before"))
    calls: list[Sequence[str]] = []

    def refused(names: Sequence[str]) -> Callable[[sqlite3.Connection], list[str]]:
        def job(connection: sqlite3.Connection) -> list[str]:
            calls.append(names)
            connection.execute("PRAGMA query_only = ON")
            try:
                return adding(names)(connection)
            finally:
                connection.execute("PRAGMA query_only = OFF")

        return job

    with pytest.raises(StoreUnwritableError):
        writer.submit_each(refused, ["never", "other"]).result(10)
    assert calls == [["never", "other"]]
    writer.close()


def test_a_full_disk_is_told_for_all_that_share_a_transaction(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    pages = writer.run(lambda c: c.execute("PRAGMA page_count").fetchone()[0])
    writer.run(lambda c: c.execute(f"PRAGMA max_page_count = {pages}").fetchone())
    with pytest.raises(StoreFullError, match="free some room"):
        writer.submit_each(adding, ["small", "x" * 100_000]).result(10)
    assert benches(tmp_path / "s") == []
    writer.close()


def test_closing_runs_what_waits_and_leaves_no_thread(tmp_path: Path) -> None:
    before = threading.active_count()
    writer = Writer(tmp_path / "s")
    go = threading.Event()
    writer.submit(lambda c: go.wait(5))
    waiting = [writer.submit(lambda c, i=i: add_bench(c, f"{i:02}")) for i in range(20)]  # type: ignore[misc]
    threading.Timer(0.01, go.set).start()
    writer.close()
    writer.close()
    assert all(future.done() for future in waiting)
    assert len(benches(tmp_path / "s")) == 20
    assert threading.active_count() <= before + 1  # the timer may be on its way out
    with pytest.raises(StoreClosedError, match="open it again"):
        writer.run(lambda c: None)


def test_a_reader_cannot_write_and_sees_one_state(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    writer.run(lambda c: add_bench(c, "a"))
    with reading(tmp_path / "s") as connection:
        assert connection.execute("SELECT count(*) FROM benches").fetchone() == (1,)
        writer.run(lambda c: add_bench(c, "b"))
        assert connection.execute("SELECT count(*) FROM benches").fetchone() == (1,)
    with pytest.raises(StoreError), reading(tmp_path / "s") as connection:
        add_bench(connection, "c")
    writer.close()
    assert benches(tmp_path / "s") == ["a", "b"]


def test_the_journal_shrinks_at_a_checkpoint_and_an_open_reader_does_not_stop_it_with_an_error(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    journal = tmp_path / "s-wal"
    writer.run(lambda c: add_bench(c, "x" * 3_000_000))
    assert journal.stat().st_size > 2_000_000
    with reading(tmp_path / "s") as connection:
        connection.execute("SELECT count(*) FROM benches").fetchone()
        writer.run(lambda c: add_bench(c, "y"))
        writer.checkpoint()
    writer.checkpoint()
    assert journal.stat().st_size == 0
    assert writer.run(lambda c: c.execute("PRAGMA busy_timeout").fetchone()[0]) == 5000
    writer.close()


def test_no_store_and_no_database(tmp_path: Path) -> None:
    with pytest.raises(StoreMissingError, match="import a burn"), reading(tmp_path / "s"):
        pass
    (tmp_path / "s").write_text("a diary, and a long one\n" * 100)
    with pytest.raises(StoreDamagedError), reading(tmp_path / "s"):
        pass
    with pytest.raises(StoreDamagedError):
        Writer(tmp_path / "s")
    assert (tmp_path / "s").read_text().startswith("a diary")


def test_a_damaged_store_is_not_appended_to(tmp_path: Path) -> None:
    path = tmp_path / "s"
    writer = Writer(path)
    for i in range(300):
        writer.run(lambda c, i=i: add_bench(c, f"{i:03}" * 40))  # type: ignore[misc]
    writer.close()
    data = bytearray(path.read_bytes())
    page = int.from_bytes(data[16:18], "big")
    for start in range(2 * page, len(data), page):
        data[start : start + 64] = b"\xff" * 64
    path.write_bytes(data)
    with pytest.raises(StoreDamagedError, match="sets it aside"):
        Writer(path)
    assert path.read_bytes() == data


def test_a_disk_that_refuses_for_a_while_is_written_to_again_through_a_new_connection(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "s")
    writer.run(lambda c: add_bench(c, "before"))
    with pytest.raises(StoreUnwritableError, match="read-only"):
        writer.run(_refusing)
    writer.run(lambda c: add_bench(c, "after"))
    writer.close()
    assert benches(tmp_path / "s") == ["after", "before"]


def _refusing(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA query_only = ON")
    add_bench(connection, "lost")


def test_a_store_that_is_deleted_while_it_records_is_put_back_with_all_that_it_held(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "s"
    writer = Writer(path)
    writer.run(lambda c: add_bench(c, "before"))
    path.unlink()
    writer.run(lambda c: add_bench(c, "after"))
    writer.run(lambda c: add_bench(c, "later"))
    assert benches(path) == ["after", "before", "later"]
    (tmp_path / "s-wal").unlink()
    path.unlink()
    writer.run(lambda c: add_bench(c, "last"))
    writer.close()
    assert benches(path) == ["after", "before", "last", "later"]
    assert not list(tmp_path.glob("*.unfinished"))
    assert caplog.text.count("was deleted") == 2


def test_a_store_whose_disk_is_gone_waits_for_it_and_makes_no_new_one_elsewhere(tmp_path: Path) -> None:
    folder = tmp_path / "disk"
    folder.mkdir()
    writer = Writer(folder / "s")
    writer.run(lambda c: add_bench(c, "before"))
    folder.rename(tmp_path / "away")
    with pytest.raises(StoreUnwritableError, match="connected"):
        writer.run(lambda c: add_bench(c, "lost"))
    assert not folder.exists()
    (tmp_path / "away").rename(folder)
    writer.run(lambda c: add_bench(c, "after"))
    writer.close()
    assert benches(folder / "s") == ["after", "before"]


def test_another_file_under_the_stores_name_is_not_taken_for_it(tmp_path: Path) -> None:
    other = Writer(tmp_path / "other")
    other.close()
    writer = Writer(tmp_path / "s")
    (tmp_path / "other").replace(tmp_path / "s")
    with pytest.raises(StoreReplacedError, match="opened anew"):
        writer.run(lambda c: add_bench(c, "lost"))
    writer.close()


def test_a_program_takes_short_turns_where_it_asks_for_them_and_a_store_alone_changes_none(tmp_path: Path) -> None:
    usual_s = sys.getswitchinterval()
    try:
        Writer(tmp_path / "s").close()
        assert sys.getswitchinterval() == usual_s
        take_short_turns()
        assert sys.getswitchinterval() == pytest.approx(TURN_S)
    finally:
        sys.setswitchinterval(usual_s)
