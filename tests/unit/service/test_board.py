import asyncio

import numpy as np
import pytest

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.service.board import MAX_EVENTS, Board, TrialNow
from emberline.service.clock import Clock
from emberline.service.intake import IngestCounts
from emberline.store.records import CommitReceipt, Gap

SECOND_NS = 1_000_000_000
NOW_S = 1_000.0


class Time:
    def __init__(self) -> None:
        self.now_s = NOW_S

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def time() -> Time:
    return Time()


@pytest.fixture
def board(time: Time) -> Board:
    board = Board("yard", Clock(1.0, 0, 0.0, time), IngestCounts())
    board.fitted = default_bench([Role.WATER, Role.MASS])
    return board


def receipt(
    channel: str, values: list[float], *, end_s: float = NOW_S, flags: int = 0, lost: tuple[Gap, ...] = ()
) -> CommitReceipt:
    n = len(values)
    t_ns = int(end_s * SECOND_NS) - np.arange(n, dtype=np.int64)[::-1] * SECOND_NS // 10
    batch = SampleBatch("dev", 1, channel, 0, t_ns, np.array(values), np.full(n, flags, dtype=np.uint8))
    return CommitReceipt(1, (batch,), 0, lost)


def commit(board: Board, one: CommitReceipt) -> None:
    board.counts.last_commit_ns = board.clock.now_ns()
    board.committed(one)


def test_a_value_is_the_median_of_the_newest_second_with_its_age(board: Board, time: Time) -> None:
    commit(board, receipt("mass", [5000.0] * 30 + [970.0] * 9 + [4000.0]))
    time.now_s += 0.75
    assert board.document()["committed_ns"] == int(NOW_S * SECOND_NS)
    mass = board.document()["values"]["mass"]
    assert mass == {"value": 970.0, "u": 2.393, "unit": "g", "age_s": 0.75, "stale": False}


def test_an_old_value_is_marked_as_stale(board: Board, time: Time) -> None:
    commit(board, receipt("mass", [970.0]))
    time.now_s += 8.0
    assert board.document()["values"]["mass"]["stale"]


def test_a_fault_is_no_value(board: Board) -> None:
    commit(board, receipt("water", [0.0, 0.0], flags=FLAG_FAULT))
    assert board.document()["values"]["water"]["value"] is None


def test_streams_without_a_channel_are_not_shown(board: Board) -> None:
    commit(board, receipt("water.cold_junction", [21.0]))
    assert board.document()["values"] == {}


def test_recording_is_decided_by_the_last_commit(board: Board, time: Time) -> None:
    assert board.document()["recording"] == "not recording"
    commit(board, receipt("mass", [970.0]))
    assert board.document()["recording"] == "recording"
    gap = Gap("dev", 1, "mass", 5, 9, 0, 1, "made up")
    commit(board, receipt("mass", [970.0], lost=(gap,)))
    assert board.document()["recording"] == "recording with gaps"
    assert board.document()["samples_lost"] == 4
    time.now_s += 10.0
    assert board.document()["recording"] == "not recording"


def test_a_store_that_refuses_means_not_recording(board: Board) -> None:
    commit(board, receipt("mass", [970.0]))
    board.counts.trouble = "the disk is full"
    assert board.document()["recording"] == "not recording"
    assert board.document()["trouble"] == "the disk is full"


def test_troubles_of_parts_stand_side_by_side_and_go_away_one_by_one(board: Board) -> None:
    board.report("bench", "no such stream")
    board.report("summary", "failed")
    assert board.document()["trouble"] == "no such stream; failed"
    board.report("bench", "")
    assert board.document()["trouble"] == "failed"


def test_announcements_are_handed_out_once_to_each_reader(board: Board) -> None:
    board.say({"kind": "lit"})
    first, index = board.said_since(0)
    board.say({"kind": "boil"})
    second, index = board.said_since(index)
    assert [one["kind"] for one in (*first, *second)] == ["lit", "boil"]
    assert board.said_since(index) == ([], 2)
    assert len(board.said_since(0)[0]) == 2


def test_old_announcements_make_room(board: Board) -> None:
    for number in range(MAX_EVENTS + 10):
        board.say({"number": number})
    said, index = board.said_since(0)
    assert [said[0]["number"], said[-1]["number"], len(said)] == [10, MAX_EVENTS + 9, MAX_EVENTS]
    assert index == MAX_EVENTS + 10


async def test_who_waits_is_told_of_a_change(board: Board) -> None:
    assert not await board.changed(board.version, 0.01)
    waiting = asyncio.create_task(board.changed(board.version, 5.0))
    await asyncio.sleep(0)
    board.touch()
    assert await waiting
    assert await board.changed(board.version - 1, 0.0)


def test_the_time_within_a_trial_is_that_of_the_newest_reading(board: Board) -> None:
    board.trial = TrialNow("2025-11-25-1", "chips", int((NOW_S - 90.0) * SECOND_NS), followed_s=80.0)
    commit(board, receipt("mass", [970.0]))
    document = board.document()
    assert (document["t_s"], document["followed_s"], document["label"]) == (90.0, 80.0, "chips")


def test_a_channel_that_falls_silent_is_a_gap(board: Board, time: Time) -> None:
    commit(board, receipt("water", [20.0]))
    time.now_s += 8.0
    commit(board, receipt("mass", [970.0], end_s=time.now_s))
    assert board.silent() == [Role.WATER]
    assert board.document()["recording"] == "recording with gaps"
    commit(board, receipt("water", [20.0], end_s=time.now_s))
    assert board.document()["recording"] == "recording"
