import asyncio
import threading

import pytest

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.service import recall as module
from emberline.service.board import Board, TrialNow
from emberline.service.clock import Clock
from emberline.service.intake import IngestCounts
from emberline.service.recall import Recall
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch


@pytest.fixture
def board() -> Board:
    board = Board("yard", Clock(1.0, NOON_NS + 300 * SECOND_NS, 0.0, lambda: 0.0), IngestCounts())
    board.fitted = default_bench([Role.MASS])
    return board


async def recalled(recall: Recall) -> None:
    """Recall until the curves are complete."""
    async with asyncio.timeout(30.0):
        while not await recall.recall():
            pass


async def test_what_was_stored_before_the_daemon_began_is_shown_once(board: Board, store: Store) -> None:
    store.commit("yard", [batch(0, 1000)])
    board.committed(store.commit("yard", [batch(1000, 1000)]))
    recall = Recall(board, store)
    await recalled(recall)
    version, whole = board.course.version, board.course.since(0, 0)
    assert len(whole["t"]) == 200
    # Ten readings a second, each a quarter gram less than the last: no second counts a reading twice.
    assert whole["mass"][150] == pytest.approx(1000.0 - 0.25 * 1504.5, abs=0.01)
    await recalled(recall)
    assert board.course.version == version


async def test_a_trial_that_began_earlier_has_the_stretch_before_recalled(board: Board, store: Store) -> None:
    store.commit("yard", [batch(0, 1000)])
    board.committed(store.commit("yard", [batch(1000, 1000)]))
    recall = Recall(board, store)
    board.trial = TrialNow("2025-11-25-2", None, NOON_NS + 50 * SECOND_NS)
    await recalled(recall)
    assert len(board.course.since(0, 0)["t"]) == 150
    board.trial = TrialNow("2025-11-25-1", None, NOON_NS)
    await recalled(recall)
    assert len(board.course.since(0, 0)["t"]) == 200


async def test_a_commit_that_comes_meanwhile_is_not_counted_twice(
    board: Board, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.commit("yard", [batch(0, 1000)])
    recall = Recall(board, store)
    read = recall._earlier

    def slow(*arguments: object) -> object:
        found = read(*arguments)  # type: ignore[arg-type]
        if board.first_commit is None:
            board.committed(store.commit("yard", [batch(1000, 1000)]))
            return read(*arguments)  # type: ignore[arg-type]
        return found

    monkeypatch.setattr(recall, "_earlier", slow)
    await recalled(recall)
    assert board.course.since(0, 0)["mass"][150] == pytest.approx(1000.0 - 0.25 * 1504.5, abs=0.01)


async def test_without_a_device_there_is_nothing_to_recall(board: Board, store: Store) -> None:
    store.commit("yard", [batch(0, 1000)])
    board.fitted = None
    await asyncio.gather(*(Recall(board, store).recall() for _ in range(2)))
    assert board.course.since(0, 0) == {"t": []}


async def test_a_disk_that_does_not_answer_holds_up_nobody_who_watches(
    board: Board, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "WAIT_S", 0.02)
    store.commit("yard", [batch(0, 100)])
    recall, hung, asked = Recall(board, store), threading.Event(), 0
    read = recall._earlier

    def hanging(*arguments: object) -> object:
        nonlocal asked
        asked += 1
        hung.wait(30.0)
        return read(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(recall, "_earlier", hanging)
    try:
        assert not await recall.recall()
        assert not await recall.recall()
        assert (asked, board.course.since(0, 0)) == (1, {"t": []})
    finally:
        hung.set()
    await recalled(recall)
    assert (asked, len(board.course.since(0, 0)["t"])) == (1, 10)
