import subprocess
import sys
import threading
from pathlib import Path

import pytest

from emberline.store.errors import StoreBusyError, StoreClosedError, StoreMissingError, StorePlaceError
from emberline.store.store import Store, StoreReader
from unit.store.made_up import NOON_NS, batch, numbers


def test_a_second_writer_is_turned_away_until_the_first_has_closed(tmp_path: Path) -> None:
    path = tmp_path / "s"
    with Store.open(path), pytest.raises(StoreBusyError):
        Store.open(path)
    Store.open(path).close()


def test_a_store_that_cannot_be_opened_gives_its_lock_back(tmp_path: Path) -> None:
    path = tmp_path / "s"
    path.write_text("no database, only words and more words\n" * 50)
    for _ in range(2):
        with pytest.raises(Exception, match="damaged or is no store"):
            Store.open(path)


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


def test_many_threads_read_and_write_without_an_error(tmp_path: Path) -> None:
    errors: list[BaseException] = []
    with Store.open(tmp_path / "s") as store:

        def write(channel: str) -> None:
            try:
                for i in range(25):
                    store.commit("b", [batch(10 * i, 10, channel=channel)])
            except BaseException as exc:  # noqa: BLE001  told below
                errors.append(exc)

        def read() -> None:
            try:
                for _ in range(25):
                    seen = numbers([one for one in store.batches("b") if one.channel == "c0"])
                    assert seen == list(range(len(seen)))
            except BaseException as exc:  # noqa: BLE001  told below
                errors.append(exc)

        threads = [threading.Thread(target=write, args=(f"c{i}",)) for i in range(3)]
        threads += [threading.Thread(target=read) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
        assert not errors
        assert [store.tally("dev", 1, f"c{i}").stored for i in range(3)] == [250] * 3


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


KILLED = """
import sys
from pathlib import Path
from unit.store.made_up import batch
from emberline.store.store import Store
store = Store.open(Path(sys.argv[1]))
for i in range(10_000):
    print(store.commit("b", [batch(10 * i, 10)]).stored[-1].next_seq, flush=True)
"""


@pytest.mark.parametrize("commits", [1, 7, 40])
def test_what_a_killed_writer_has_acknowledged_is_there(tmp_path: Path, commits: int) -> None:
    path = tmp_path / "s"
    tests = str(Path(__file__).parents[2])
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, text=True, env={"PYTHONPATH": tests}
    ) as process:
        assert process.stdout is not None
        acknowledged = 0
        for _ in range(commits):
            acknowledged = int(process.stdout.readline())
        process.kill()
        process.wait(10)
    with Store.open(path) as store:
        after = store.next_seq("dev", 1, "mass")
        assert after >= acknowledged == 10 * commits
        got = numbers(list(store.batches("b")))
        assert got == list(range(after))
        first = next(store.batches("b"))
        assert int(first.t_ns[0]) == NOON_NS
