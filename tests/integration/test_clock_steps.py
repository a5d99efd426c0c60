"""The machine's clock is set while a bench records: nothing is lost, durations hold, and the new time is taken up."""

import asyncio
import time
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from emberline import app
from emberline.app.stored import STORE_NAME
from emberline.service import clock_watch
from emberline.service import daemon as daemon_module
from emberline.service.clock import Clock
from emberline.service.clock_watch import ClockWatch
from emberline.store.connection import reading
from emberline.store.notices import NoticeKind
from emberline.store.reader import StoreReader
from live_fixture import CHANNELS, SimulatedBench, simulated_bench, until

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

HOUR_NS = 3_600 * 10**9


class Wall:
    """The machine's wall clock, which the test sets."""

    def __init__(self) -> None:
        self.offset_ns = 0

    def utc_ns(self) -> int:
        return time.time_ns() + self.offset_ns

    def clock(self) -> Clock:
        return Clock(1.0, self.utc_ns(), time.monotonic())


@pytest.fixture
def wall(monkeypatch: pytest.MonkeyPatch) -> Wall:
    wall = Wall()
    monkeypatch.setattr(daemon_module, "ClockWatch", partial(ClockWatch, utc_ns=wall.utc_ns))
    monkeypatch.setattr(clock_watch, "clock_after", partial(clock_watch.clock_after, clock=wall.clock))
    return wall


class Seen:
    """The daemons that were begun, one after the other."""

    def __init__(self) -> None:
        self.daemons: list[Daemon] = []
        self.over = asyncio.Event()

    async def beside(self, daemon: "Daemon") -> None:
        self.daemons.append(daemon)
        await self.over.wait()

    def stored(self) -> int:
        return self.daemons[-1].lanes["bench"].board.counts.committed if self.daemons else 0


async def recorded(bench: SimulatedBench, data: Path, seen: Seen) -> None:
    await app.serve(data, port=str(bench.port), beside=seen.beside)


@pytest.mark.parametrize("step_ns", [HOUR_NS, -HOUR_NS, -24 * HOUR_NS], ids=["forward", "back an hour", "back a day"])
async def test_the_clock_is_set_between_trials(tmp_path: Path, wall: Wall, step_ns: int) -> None:
    data, seen = tmp_path / "data", Seen()
    async with simulated_bench(tmp_path / "bench", duration_s=200.0, speed=1.0) as bench, asyncio.TaskGroup() as group:
        group.create_task(recorded(bench, data, seen))
        await until(lambda: seen.stored() > 50, "some readings")
        before_ns = StoreReader(data / STORE_NAME).newest_ns() or 0
        wall.offset_ns = step_ns
        forward = step_ns > 0
        if forward:
            await until(lambda: len(seen.daemons) == 2 and seen.stored() > 50, "readings in the new time")
        else:
            count = seen.stored()
            await until(lambda: seen.stored() > count + 50, "more readings")
            assert "behind the dates" in seen.daemons[-1].health.health().warnings[0]
        store = StoreReader(data / STORE_NAME)
        after_ns = store.newest_ns() or 0
        seen.over.set()
    assert len(seen.daemons) == (2 if forward else 1)
    assert [one.kind for one in store.notices()] == [NoticeKind.CLOCK]
    assert (after_ns - before_ns) * 1e-9 == pytest.approx(3_600.0 if forward else 0.0, abs=30.0)
    with reading(store.path) as connection:
        streams = connection.execute("SELECT DISTINCT device, boot, channel FROM spans").fetchall()
    assert {channel for _, _, channel in streams} == set(CHANNELS)
    assert [store.missing(*stream) for stream in streams] == [[]] * len(CHANNELS)


@pytest.mark.parametrize("step_ns", [HOUR_NS, -HOUR_NS], ids=["forward", "back"])
async def test_a_running_trial_keeps_to_the_time_in_which_it_began(tmp_path: Path, wall: Wall, step_ns: int) -> None:
    data, seen = tmp_path / "data", Seen()
    async with simulated_bench(tmp_path / "bench", duration_s=200.0, speed=1.0) as bench, asyncio.TaskGroup() as group:
        group.create_task(recorded(bench, data, seen))
        await until(lambda: seen.stored() > 50, "some readings")
        trial = await seen.daemons[0].lanes["bench"].keeper.arm("", None)
        wall.offset_ns = step_ns
        count = seen.stored()
        await until(lambda: seen.stored() > count + 50, "more readings")
        assert len(seen.daemons) == 1
        store = StoreReader(data / STORE_NAME)
        assert 0 < (store.newest_ns() or 0) - store.trial(trial).start_ns < 120 * 10**9
        count = seen.stored()
        await seen.daemons[0].lanes["bench"].keeper.end()
        if step_ns > 0:
            await until(lambda: len(seen.daemons) == 2 and seen.stored() > 20, "the new time, once the trial has ended")
        else:
            await until(lambda: seen.stored() > count + 50, "readings after the trial")
            assert len(seen.daemons) == 1
        seen.over.set()


async def test_after_a_restart_with_a_clock_set_back_no_reading_lies_before_an_older_one(
    tmp_path: Path, wall: Wall
) -> None:
    data = tmp_path / "data"
    async with simulated_bench(tmp_path / "bench", duration_s=200.0, speed=1.0) as bench:
        await until_stored(bench, data)
        wall.offset_ns = -HOUR_NS
        assert "behind the newest reading" in " ".join(await until_stored(bench, data))
    store = StoreReader(data / STORE_NAME)
    newest_ns = [max(int(one.t_ns[-1]) for one in commit.batches) for commit in store.commits("bench")]
    assert all(later >= earlier - 10**9 for earlier, later in pairwise(newest_ns))


async def until_stored(bench: SimulatedBench, data: Path) -> tuple[str, ...]:
    """Record some readings and return the warnings that the daemon had."""
    seen = Seen()
    async with asyncio.TaskGroup() as group:
        group.create_task(recorded(bench, data, seen))
        await until(lambda: seen.stored() > 50, "readings")
        warnings = seen.daemons[0].health.health().warnings
        seen.over.set()
    return warnings
