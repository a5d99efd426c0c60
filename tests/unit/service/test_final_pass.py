import asyncio
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from emberline.curves.events import Event, EventKind
from emberline.service import final_pass
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.final_pass import Summaries, Summed
from emberline.service.intake import IngestCounts
from emberline.service.keeper import Ended
from emberline.store.connection import reading
from emberline.store.errors import StoreFullError
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch

OUT = Event(EventKind.FLAMEOUT, 431.5, 4.0, "rate falls")


def sum_up(trial: str, provisional: bool) -> Summed:
    """Stands for the analysis; runs in the process apart."""
    if "broken" in trial:
        raise ValueError("no curve")
    return Summed('{"trial": "x"}', "1", (OUT,), (), Path(f"{trial}-{provisional}.html"), additions=1)


@pytest.fixture(autouse=True)
def importable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(path for path in sys.path if path))


@pytest.fixture
def board() -> Board:
    return Board("yard", Clock(1.0, 0, 0.0), IngestCounts())


async def worked(summaries: Summaries) -> None:
    task = asyncio.create_task(summaries.run())
    async with asyncio.timeout(50.0):
        await summaries.done()
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task


def pages(board: Board) -> list[Any]:
    return [one["page"] for one in board.said_since(0)[0] if one["kind"] == "summary"]


async def test_a_final_summary_is_kept_and_shown(store: Store, board: Board) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    store.end_trial(trial.id, NOON_NS)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", trial.id, provisional=False))
    await worked(summaries)
    assert store.events(trial.id) == [OUT]
    kept = store.summary(trial.id)
    assert kept is not None
    assert (kept.document, kept.version) == ('{"trial": "x"}', "1")
    assert pages(board) == [board.document()["summary"]] == [f"{trial.id}-False.html"]


async def test_readings_that_came_while_it_was_worked_out_leave_it_behind(store: Store, board: Board) -> None:
    trial = fill(store)
    summaries = Summaries(store, {"yard": board}, sum_up)
    behind = []
    for second in range(2):
        store.commit("yard", [batch(10 * second, 10, channel="flame")])
        summaries.put(Ended("yard", trial, provisional=False))
        await worked(summaries)
        kept = store.summary(trial)
        assert kept is not None
        behind.append(kept.behind)
    assert behind == [False, True], "it always says that it knows of one addition"


def fill(store: Store) -> str:
    """Store a minute of two streams in commits of a second each; return the id of the trial that lasts as long."""
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    for second in range(60):
        store.commit("yard", [batch(10 * second, 10), batch(10 * second, 10, channel="water")])
    store.end_trial(trial.id, NOON_NS + 60 * SECOND_NS)
    return trial.id


def blocks(store: Store) -> list[tuple[int, int]]:
    with reading(store.path) as connection:
        return connection.execute("SELECT id, last_id FROM blocks ORDER BY id").fetchall()


def replayed(store: Store) -> list[tuple[int, list[tuple[str, int, bytes]]]]:
    return [
        (commit.id, [(one.channel, one.first_seq, one.raw.tobytes()) for one in commit.batches])
        for commit in store.commits("yard")
    ]


async def test_the_record_is_merged_once_the_final_summary_is_kept(store: Store, board: Board) -> None:
    trial = fill(store)
    before = replayed(store)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", trial, provisional=True))
    await worked(summaries)
    assert len(blocks(store)) == 60
    summaries.put(Ended("yard", trial, provisional=False))
    await worked(summaries)
    assert len(blocks(store)) == 1
    assert replayed(store) == before


async def test_what_a_server_has_not_taken_is_not_merged(store: Store, board: Board) -> None:
    trial = fill(store)
    before = replayed(store)
    store.advance_outbox("archive", 30)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", trial, provisional=False))
    await worked(summaries)
    assert blocks(store) == [(1, 30), *((one, one) for one in range(31, 61))]
    assert replayed(store) == before


async def test_a_record_that_cannot_be_merged_leaves_the_summary(
    store: Store, board: Board, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    trial = fill(store)

    def full(_trial: str) -> int:
        raise StoreFullError("the disk is full")

    monkeypatch.setattr(store, "compact", full)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", trial, provisional=False))
    await worked(summaries)
    assert store.summary(trial) is not None
    assert board.document()["trouble"] == ""
    assert "stays as it is" in caplog.text


async def test_a_summary_that_cannot_be_kept_is_told_and_others_follow(
    store: Store, board: Board, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = fill(store)

    def full(*_: object, additions: int) -> None:
        raise StoreFullError("the disk is full")

    summaries = Summaries(store, {"yard": board}, sum_up)
    with monkeypatch.context() as patch:
        patch.setattr(store, "save_summary", full)
        summaries.put(Ended("yard", trial, provisional=False))
        await worked(summaries)
    assert "the disk is full" in board.document()["trouble"]
    summaries.put(Ended("yard", trial, provisional=False))
    await worked(summaries)
    assert board.document()["trouble"] == ""


async def test_a_provisional_summary_changes_nothing_in_the_store(store: Store, board: Board) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", trial.id, provisional=True))
    await worked(summaries)
    assert store.events(trial.id) == []
    assert store.summary(trial.id) is None
    assert pages(board) == [f"{trial.id}-True.html"]


async def test_only_the_newest_request_of_a_trial_is_worked_out(store: Store, board: Board) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    store.end_trial(trial.id, NOON_NS)
    summaries = Summaries(store, {"yard": board}, sum_up)
    for provisional in (True, True, False):
        summaries.put(Ended("yard", trial.id, provisional=provisional))
    assert summaries.works_on(trial.id)
    await worked(summaries)
    assert pages(board) == [f"{trial.id}-False.html"]
    assert not summaries.works_on(trial.id)


async def test_a_failure_is_shown_and_the_next_summary_is_worked_out(
    store: Store, board: Board, caplog: pytest.LogCaptureFixture
) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    store.end_trial(trial.id, NOON_NS)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", "broken", provisional=True))
    await worked(summaries)
    assert "no curve" in board.document()["trouble"]
    assert "no curve" in caplog.text
    summaries.put(Ended("yard", trial.id, provisional=False))
    await worked(summaries)
    # The broken one is tried again, and is in trouble still.
    assert "no curve" in board.document()["trouble"]
    assert pages(board) == [f"{trial.id}-False.html"]


async def test_a_summary_that_failed_is_worked_out_once_the_disk_takes_it(
    store: Store, board: Board, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = store.create_trial(bench="yard", start_ns=NOON_NS)
    store.end_trial(trial.id, NOON_NS)
    kept, save = asyncio.Event(), store.save_summary
    loop, tries = asyncio.get_running_loop(), 0

    def at_first_full(*words: str, additions: int) -> None:
        nonlocal tries
        tries += 1
        if tries == 1:
            raise StoreFullError("the disk is full")
        save(*words, additions=additions)
        loop.call_soon_threadsafe(kept.set)

    monkeypatch.setattr(store, "save_summary", at_first_full)
    monkeypatch.setattr(final_pass, "AGAIN_S", 0.05)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("yard", trial.id, provisional=False))
    task = asyncio.create_task(summaries.run())
    async with asyncio.timeout(50.0):
        await summaries.done()
        assert "the disk is full" in board.document()["trouble"]
        await kept.wait()
        while board.document()["trouble"]:
            await board.changed(board.version, 1.0)
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task
    assert store.summary(trial.id) is not None
    assert tries == 2


async def test_a_trial_of_a_bench_that_is_not_recorded_here_is_worked_out_all_the_same(
    store: Store, board: Board
) -> None:
    trial = store.create_trial(bench="shed", start_ns=NOON_NS, origin="import")
    store.end_trial(trial.id, NOON_NS)
    summaries = Summaries(store, {"yard": board}, sum_up)
    summaries.put(Ended("shed", "broken", provisional=True))
    summaries.put(Ended("shed", trial.id, provisional=False))
    await worked(summaries)
    assert store.summary(trial.id) is not None
    assert pages(board) == []
    assert board.document()["trouble"] == ""
