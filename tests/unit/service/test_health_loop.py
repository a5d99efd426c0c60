import asyncio
import logging
import socket
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from emberline.service import health_loop as module
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.clock_watch import ClockWatch
from emberline.service.health import HealthWatch
from emberline.service.health_loop import ENOUGH_COMMITS, HealthLoop, commit_p99_s
from emberline.service.health_notify import Notifier
from emberline.service.ingest import IngestCounts
from emberline.store.errors import StoreFullError
from emberline.store.notices import Notice, NoticeKind
from emberline.store.store import Store
from live_fixture import until
from unit.store.made_up import NOON_NS


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LOOK_S", 0.01)
    monkeypatch.setattr(module, "DISK_EVERY_S", 0.0)


@dataclass
class Made:
    loop: HealthLoop
    manager: socket.socket
    counts: IngestCounts
    wall_offset_ns: int = 0
    steps: int = 0

    def heard(self) -> list[str]:
        said = []
        while True:
            try:
                said.append(self.manager.recv(4096).decode())
            except BlockingIOError:
                return said


@pytest.fixture
def made(store: Store, tmp_path: Path) -> Iterator[Made]:
    clock = Clock(1.0, NOON_NS, 0.0, lambda: 100.0)
    counts = IngestCounts()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.setblocking(False)
        notifier = Notifier({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "1000000"})
        watch = HealthWatch(Board("b", clock, counts), clock)

        def utc_ns() -> int:
            return clock.now_ns() + made.wall_offset_ns

        def step_due() -> None:
            made.steps += 1

        # The wall clock is bound late: what it shows is the test's to say.
        made = Made.__new__(Made)
        made.wall_offset_ns, made.steps, made.manager, made.counts = 0, 0, manager, counts
        made.loop = HealthLoop(store, watch, ClockWatch(clock, utc_ns), notifier, counts, step_due)
        yield made


@asynccontextmanager
async def running(loop: HealthLoop) -> AsyncIterator[None]:
    task = asyncio.create_task(loop.run())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.wait([task])


async def test_the_service_manager_hears_of_the_start_the_state_and_life(made: Made) -> None:
    said: list[str] = []
    async with running(made.loop):
        await until(lambda: said.extend(made.heard()) or said.count("WATCHDOG=1") > 3, "signs of life")  # type: ignore[func-returns-value]
    assert said[0] == "READY=1"
    assert said[1].startswith("STATUS=not recording since 2025-11-25T12:0")


async def test_a_writer_that_hangs_is_no_life_and_one_that_answers_again_is(
    made: Made, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PROOF_LIMIT_S", 0.05)
    let_go = threading.Event()
    hung = store._writer.submit(lambda _: let_go.wait(20.0))
    said: list[str] = []
    monkeypatch.setattr(made.loop, "_disk_at_s", float("inf"))
    async with running(made.loop):
        made.counts.commits = 1
        await until(lambda: made.loop._proof is not None, "a question to the writer")
        await asyncio.sleep(0.2)
        made.heard()
        await asyncio.sleep(0.1)
        assert made.heard() == []
        let_go.set()
        await until(lambda: said.extend(made.heard()) or "WATCHDOG=1" in said, "life")  # type: ignore[func-returns-value]
    assert hung.result()


async def test_fresh_commits_are_life_enough(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LOOK_S", 1.0)
    made.counts.commits = 1
    await made.loop.look()
    assert made.loop._proof is None
    assert "WATCHDOG=1" in made.heard()


async def test_a_clock_step_is_kept_shown_and_taken_up(
    made: Made, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING)
    await made.loop.look()
    made.wall_offset_ns = 3_600 * 10**9
    await made.loop.look()
    assert [one.kind for one in store.notices()] == [NoticeKind.CLOCK]
    assert [one.kind for one in made.loop.watch.notices] == [NoticeKind.CLOCK]
    assert made.steps == 1
    assert "set forward by 1 h" in caplog.text
    assert "ahead of" in made.loop.watch.health().warnings[0]


async def test_a_notice_waits_for_a_disk_that_is_full(
    made: Made, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(notice: Notice) -> None:
        raise StoreFullError("the disk is full")

    with monkeypatch.context() as full:
        full.setattr(store, "add_notice", refuse)
        made.wall_offset_ns = -(10**12)
        await made.loop.look()
        await made.loop.look()
        assert store.notices() == []
    await made.loop.look()
    assert len(store.notices()) == 1
    assert made.steps == 0


async def test_notices_of_the_last_week_are_shown_after_a_restart(made: Made, store: Store) -> None:
    store.add_notice(Notice(NOON_NS - 8 * 86_400 * 10**9, NoticeKind.OUTAGE, "long ago"))
    store.add_notice(Notice(NOON_NS - 6 * 86_400 * 10**9, NoticeKind.SET_ASIDE, "the other day"))
    async with running(made.loop):
        await until(lambda: bool(made.loop.watch.notices), "the notices")
    assert [one.text for one in made.loop.watch.notices] == ["the other day"]


async def test_slow_commits_are_told(made: Made) -> None:
    made.counts.durations_s.extend([0.01] * ENOUGH_COMMITS)
    await made.loop.look()
    assert made.loop.watch.health().warnings == ()
    made.counts.durations_s.extend([0.4] * 5)
    await made.loop.look()
    assert "takes 0.40 s or longer" in made.loop.watch.health().warnings[0]


def test_ninety_nine_of_a_hundred_commits_are_shorter() -> None:
    assert commit_p99_s([]) == 0.0
    assert commit_p99_s([1.0]) == 1.0
    assert commit_p99_s([*range(100)]) == 99
    assert commit_p99_s([*range(200)]) == 198
