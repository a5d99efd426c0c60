import subprocess
import sys
import threading
from pathlib import Path

import pytest

from emberline.store.errors import StoreBusyError
from emberline.store.store import Store
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
