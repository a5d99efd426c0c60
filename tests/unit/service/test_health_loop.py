import asyncio
import logging
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.service import health_loop as module
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.clock_watch import ClockWatch
from emberline.service.health import HealthWatch
from emberline.service.health_loop import ENOUGH_COMMITS, HealthLoop, commit_p99_s
from emberline.service.health_notify import Notifier
from emberline.service.intake import IngestCounts
from emberline.store.errors import StoreDamagedError, StoreFullError
from emberline.store.notices import Notice, NoticeKind
from emberline.store.store import Store
from live_fixture import until
from unit.service.meanwhile import meanwhile
from unit.store.made_up import NOON_NS, batch


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LOOK_S", 0.01)
    monkeypatch.setattr(module, "DISK_EVERY_S", 0.0)


class Made:
    """A loop whose wall clock is the test's, and the service manager that it talks to."""

    def __init__(self, store: Store, manager: socket.socket) -> None:
        self.manager = manager
        self.counts = IngestCounts()
        self.wall_offset_ns = 0
        self.steps = 0
        clock = Clock(1.0, NOON_NS, 0.0, lambda: 100.0)
        watch = HealthWatch(clock)
        watch.over(Board("b", clock, self.counts))
        notifier = Notifier({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "1000000"})
        clock_watch = ClockWatch(clock, lambda: clock.now_ns() + self.wall_offset_ns)
        self.damage: list[StoreDamagedError] = []
        self.durations_s: list[float] = []
        self.loop = HealthLoop(
            store, watch, clock_watch, notifier, [self.counts], self.durations_s, self._count_step, self.damage.append
        )

    def _count_step(self) -> None:
        self.steps += 1

    def heard(self) -> list[str]:
        said = []
        while True:
            try:
                said.append(self.manager.recv(4096).decode())
            except BlockingIOError:
                return said


@pytest.fixture
def made(store: Store, tmp_path: Path) -> Iterator[Made]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.setblocking(False)
        yield Made(store, manager)


async def test_the_service_manager_hears_of_the_start_the_state_and_life(made: Made) -> None:
    said: list[str] = []

    def lives() -> bool:
        said.extend(made.heard())
        return said.count("WATCHDOG=1") > 3

    async with meanwhile(made.loop.run()):
        await until(lives, "signs of life")
    assert said[0] == "READY=1"
    assert said[1].startswith("STATUS=not recording since 2025-11-25T12:0")


async def test_a_writer_that_hangs_is_no_life_and_one_that_answers_again_is(
    made: Made, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PROOF_LIMIT_S", 0.05)
    let_go = threading.Event()
    hung = store._writer.submit(lambda _: let_go.wait(20.0))
    monkeypatch.setattr(made.loop, "_disk_at_s", float("inf"))
    async with meanwhile(made.loop.run()):
        made.counts.commits = 1
        await until(lambda: made.loop._proof is not None, "a question to the writer")
        await asyncio.sleep(0.2)
        made.heard()
        await asyncio.sleep(0.1)
        assert made.heard() == []
        let_go.set()
        await until(lambda: "WATCHDOG=1" in made.heard(), "life")
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
    async with meanwhile(made.loop.run()):
        await until(lambda: bool(made.loop.watch.notices), "the notices")
    assert [one.text for one in made.loop.watch.notices] == ["the other day"]


async def test_damage_on_disk_is_found_though_the_writer_remembers_what_was_there(made: Made, store: Store) -> None:
    store.commit("b", [batch(0, 10)])
    await made.loop.look()
    assert made.damage == []
    with store.path.open("rb+") as file:
        file.write(b"\xff" * store.path.stat().st_size)
    store.commit("b", [batch(10, 10)])
    await made.loop.look()
    assert len(made.damage) == 1


async def test_slow_commits_are_told(made: Made) -> None:
    made.durations_s.extend([0.01] * ENOUGH_COMMITS)
    await made.loop.look()
    assert made.loop.watch.health().warnings == ()
    made.durations_s.extend([0.4] * 5)
    await made.loop.look()
    assert "takes 0.40 s or longer" in made.loop.watch.health().warnings[0]


def test_ninety_nine_of_a_hundred_commits_are_shorter() -> None:
    assert commit_p99_s([]) == 0.0
    assert commit_p99_s([1.0]) == 1.0
    assert commit_p99_s([*range(100)]) == 99
    assert commit_p99_s([*range(200)]) == 198
