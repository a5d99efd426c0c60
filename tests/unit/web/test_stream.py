import json
from collections.abc import AsyncIterator
from contextlib import aclosing
from typing import Any

import pytest
from starlette.types import Message

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.service.board import Board, TrialNow
from emberline.service.clock import Clock
from emberline.service.intake import IngestCounts
from emberline.service.recall import Recall
from emberline.store.errors import StoreError, StoreFullError
from emberline.store.records import CommitReceipt
from emberline.web import stream as module
from emberline.web.frame import as_json
from emberline.web.stream import Stream, Viewers, overview
from unit.store.made_up import NOON_NS, SECOND_NS, batch


@pytest.fixture
def board() -> Board:
    board = Board("yard", Clock(1.0, NOON_NS + 300 * SECOND_NS, 0.0, lambda: 0.0), IngestCounts())
    board.fitted = default_bench([Role.MASS])
    return board


def commit(board: Board, first_seq: int, n: int = 10) -> None:
    board.committed(CommitReceipt(first_seq, (batch(first_seq, n),), 0, ()))


class Remembered(Recall):
    """A recall that notes when it is asked, and may fail."""

    def __init__(self, error: StoreError | None = None) -> None:
        self.asked = 0
        self.error = error

    async def recall(self) -> bool:
        self.asked += 1
        if self.error is not None:
            raise self.error
        return self.asked > 1


async def following(messages: AsyncIterator[dict[str, str]]) -> tuple[str, Any]:
    message = await anext(messages)
    return message["id"], json.loads(message["data"])


async def test_the_first_message_is_whole_and_the_next_brings_what_is_new(board: Board) -> None:
    commit(board, 0, 100)
    async with aclosing(Viewers(board, Remembered()).messages("")) as messages:
        _, first = await following(messages)
        assert (first["whole"], len(first["points"]["t"])) == (True, 10)
        assert first["live"]["values"]["mass"]["value"] == pytest.approx(976.25, abs=1.5)
        commit(board, 100)
        _, second = await following(messages)
        assert (second["whole"], second["points"]["t"]) == (False, [NOON_NS / 1e9 + 10.5])


async def test_a_viewer_who_was_away_is_given_what_it_missed_and_no_more(board: Board) -> None:
    viewers = Viewers(board, Remembered())
    commit(board, 0, 100)
    async with aclosing(viewers.messages("")) as messages:
        seen, _ = await following(messages)
    for first_seq in (100, 110, 120):
        commit(board, first_seq)
    async with aclosing(viewers.messages(seen)) as messages:
        _, back = await following(messages)
    assert (back["whole"], back["points"]["t"]) == (False, [NOON_NS / 1e9 + s + 0.5 for s in (10, 11, 12)])


async def test_an_id_of_another_run_or_none_at_all_names_nothing(board: Board) -> None:
    commit(board, 0)
    for last_id in ("deadbeef/7/", "nonsense", f"{module._RUN}/x/", ""):
        async with aclosing(Viewers(board, Remembered()).messages(last_id)) as messages:
            assert (await following(messages))[1]["whole"] is True


async def test_a_trial_that_opens_is_shown_from_its_start(board: Board) -> None:
    commit(board, 0, 100)
    async with aclosing(Viewers(board, Remembered()).messages("")) as messages:
        await following(messages)
        board.trial = TrialNow("2025-11-25-1", None, NOON_NS + 4 * SECOND_NS)
        board.touch()
        _, opened = await following(messages)
    assert (opened["whole"], opened["live"]["trial"]) == (True, "2025-11-25-1")
    assert opened["points"]["t"] == [NOON_NS / 1e9 + s + 0.5 for s in range(4, 10)]


async def test_what_lies_before_the_daemon_is_recalled_for_each_trial_and_may_fail(board: Board) -> None:
    recall = Remembered(StoreFullError("the disk is full"))
    commit(board, 0)
    async with aclosing(Viewers(board, recall).messages("")) as messages:
        await following(messages)
        assert recall.asked == 1
        board.trial = TrialNow("2025-11-25-1", None, NOON_NS)
        board.touch()
        _, opened = await following(messages)
    assert (recall.asked, len(opened["points"]["t"])) == (2, 1)


async def test_a_slow_disk_is_asked_again_until_the_curves_are_complete(board: Board) -> None:
    recall = Remembered()
    async with aclosing(Viewers(board, recall).messages("")) as messages:
        for _ in range(4):
            board.touch()
            await following(messages)
    assert recall.asked == 2


async def test_several_viewers_share_what_is_written(board: Board, monkeypatch: pytest.MonkeyPatch) -> None:
    commit(board, 0)
    written: list[object] = []

    def counted(value: object) -> str:
        written.append(value)
        return as_json(value)

    monkeypatch.setattr(module, "as_json", counted)
    viewers = Viewers(board, Remembered())
    for _ in range(5):
        async with aclosing(viewers.messages("")) as messages:
            await following(messages)
    assert len(written) == 2


async def test_marks_tell_when_events_are_other_than_they_were(board: Board) -> None:
    async with aclosing(Viewers(board, Remembered()).messages("")) as messages:
        _, before = await following(messages)
        board.say({"kind": "lit"})
        _, said = await following(messages)
        board.remind()
        _, reminded = await following(messages)
    assert [said["marks"] - before["marks"], reminded["marks"] - said["marks"]] == [1, 1]


async def test_the_page_of_all_benches_has_each_live_document(board: Board) -> None:
    boards = {"yard": board}
    async with aclosing(overview(boards)) as messages:
        assert [one["bench"] for one in json.loads((await anext(messages))["data"])] == ["yard"]
        boards["shed"] = Board("shed", board.clock, board.counts)
        assert [one["bench"] for one in json.loads((await anext(messages))["data"])] == ["shed", "yard"]


async def test_a_viewer_who_takes_nothing_is_let_go(board: Board, monkeypatch: pytest.MonkeyPatch) -> None:
    import asyncio

    monkeypatch.setattr(module, "TAKE_LIMIT_S", 0.05)
    # The library keeps a task of its own for each event loop, and offers this to be rid of it.
    monkeypatch.setattr("sse_starlette.sse._ensure_watcher_started_on_this_loop", lambda: None)

    async def send(message: Message) -> None:
        if message["type"] == "http.response.body":
            await asyncio.Event().wait()

    async def receive() -> Message:
        await asyncio.Event().wait()
        raise AssertionError

    async with asyncio.timeout(10.0):
        await Stream(Viewers(board, Remembered()).messages(""))({"type": "http", "method": "GET"}, receive, send)
