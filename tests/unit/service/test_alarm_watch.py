"""A bench's alarms as it is watched: how it stands, its sensors, the air, the disk."""

import asyncio
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.service.alarm_watch import AlarmWatch, co_before
from emberline.service.bench_fit import bench_text
from emberline.service.bench_health import BenchWatch
from emberline.service.board import Board, TrialNow
from emberline.service.clock import Clock
from emberline.service.health import Disk
from emberline.service.intake import IngestCounts
from emberline.store.records import CommitReceipt
from emberline.store.store import Store
from live_fixture import end_worker_threads, until

S_NS = 10**9
START_NS = 1_764_072_000 * S_NS
BENCH = parse_bench('[[channel]]\nrole = "water"\n[[channel]]\nrole = "flame"\n[[channel]]\nrole = "co"\n')


def batch(channel: str, value: float, t_s: float, n: int = 1, *, fault: bool = False, first: int = 0) -> SampleBatch:
    t_ns = START_NS + np.rint((t_s + np.arange(n)) * 1e9).astype(np.int64)
    flags = np.full(n, FLAG_FAULT if fault else 0, dtype=np.uint8)
    return SampleBatch("dev", 1, channel, first, t_ns, np.full(n, value), flags)


class Watched:
    """A bench whose time, readings and disk are the test's."""

    def __init__(self, store: Path, bench: Bench = BENCH) -> None:
        self.second = 0.0
        clock = Clock(1.0, START_NS, 0.0, lambda: self.second)
        self.board = Board("yard", clock, IngestCounts())
        self.board.fitted = bench
        self.health = BenchWatch(self.board, clock)
        self.disk = Disk(1, 1, 50 * 10**9, 100 * 10**9)
        self.watch = AlarmWatch(self.board, self.health, lambda: self.disk, store)

    def burns(self) -> None:
        self.board.trial = TrialNow("1", None, START_NS)

    def passes(self, seconds: int, *, broken: str = "", silent: str = "", co_ppm: float = 1.0) -> None:
        """Let time pass, with readings of every channel each second but for what is broken or silent."""
        for _ in range(seconds):
            self.second += 1.0
            values = {"water": 60.0, "flame": 500.0, "co": co_ppm}
            stored = tuple(
                batch(name, value, self.second, fault=name == broken)
                for name, value in values.items()
                if silent not in (name, "all")
            )
            if stored:
                self.board.counts.last_commit_ns = self.board.clock.now_ns()
                self.board.committed(CommitReceipt(int(self.second), stored, 0, ()))
            self.health.look()
            self.watch.look()

    def standing(self) -> set[str]:
        return {kind.value for kind in self.board.alarms.standing()}

    def text(self, kind: str) -> str:
        return next(one.text for one in self.board.alarms.shown if one.kind.value == kind)


@pytest.fixture
def bench(tmp_path: Path) -> Watched:
    return Watched(tmp_path / "s")


def test_in_an_ordinary_burn_nothing_is_raised(bench: Watched) -> None:
    bench.burns()
    bench.passes(120)
    assert bench.standing() == set()


def test_a_burn_that_is_not_recorded_is_told_and_cleared(bench: Watched) -> None:
    bench.burns()
    bench.passes(30)
    bench.passes(15, silent="all")
    assert bench.standing() == set()
    bench.passes(20, silent="all")
    assert bench.standing() == {"no_readings"}
    assert "nothing has been recorded" in bench.text("no_readings")
    bench.passes(15)
    assert bench.standing() == set()


def test_a_device_that_is_unplugged_after_the_burn_is_nobodys_alarm(bench: Watched) -> None:
    bench.passes(30)
    bench.passes(120, silent="all")
    assert bench.standing() == set()


@pytest.mark.parametrize(
    ("broken", "silent", "words"),
    [("flame", "", "flame: its converter reports a fault"), ("", "water", "water: no reading comes")],
)
def test_a_sensor_that_fails_in_a_burn_is_told_and_cleared(
    bench: Watched, broken: str, silent: str, words: str
) -> None:
    bench.burns()
    bench.passes(20)
    bench.passes(10, broken=broken, silent=silent)
    assert bench.standing() == set()
    bench.passes(30, broken=broken, silent=silent)
    assert bench.standing() == {"sensor_fault"}
    assert words in bench.text("sensor_fault")
    bench.passes(15)
    assert bench.standing() == set()


def test_a_disk_that_fills_up_is_told_with_or_without_a_burn(bench: Watched) -> None:
    bench.passes(5)
    bench.disk = Disk(1, 1, 10**8, 100 * 10**9)
    bench.passes(1)
    assert bench.standing() == {"disk_low"}
    bench.disk = Disk(1, 1, 2 * 10**9, 100 * 10**9)
    bench.passes(1)
    assert bench.standing() == set()


def test_carbon_monoxide_is_told_without_a_burn_too_and_anew_when_it_is_worse(bench: Watched) -> None:
    bench.passes(60, co_ppm=5.0)
    assert bench.standing() == set()
    bench.passes(60, co_ppm=300.0)
    assert "co_high" in bench.standing()
    bench.board.alarms.acknowledge("Ada")
    bench.passes(60, co_ppm=2_000.0)
    (shown,) = [one for one in bench.board.alarms.shown if one.kind.value == "co_high"]
    assert shown.acknowledged_ns is None
    assert "immediately dangerous to life" in shown.text
    document = bench.board.document()["co"]
    assert {one["state"] for one in document if one["limit"] in ("idlh", "niosh-ceiling")} == {"above"}


def test_where_no_limit_holds_nothing_is_compared(tmp_path: Path) -> None:
    bench = Watched(tmp_path / "s", parse_bench('[[channel]]\nrole = "co"\n[alarms]\nco_limits = []\n'))
    bench.passes(60, co_ppm=2_000.0)
    assert bench.standing() == set()
    assert bench.board.document()["co"] == []


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s") as opened:
        yield opened


def fill(store: Store) -> int:
    """Keep ten minutes of high readings, then a commit that the daemon's own run begins with; return its id."""
    store.commit("yard", [batch("co", 120.0, 0.0, 600), batch("water", 20.0, 0.0, 600)])
    receipt = store.commit("yard", [batch("co", 120.0, 600.0, 1, first=600)])
    assert receipt.commit is not None
    return receipt.commit


def test_the_air_of_before_is_read_up_to_the_first_commit(store: Store) -> None:
    first = fill(store)
    means = co_before(store.path, "yard", bench_text(BENCH), START_NS, first)
    window = means.window(START_NS + 599 * S_NS, 600)
    assert (window.mean_ppm, window.measured) == (120.0, 1.0)
    later = co_before(store.path, "yard", bench_text(BENCH), START_NS + 300 * S_NS, first)
    assert later.window(START_NS + 599 * S_NS, 600).measured == 0.5


@pytest.mark.timeout(120)
async def test_after_a_restart_the_air_of_before_counts(store: Store) -> None:
    bench = Watched(store.path)
    first = fill(store)
    task = asyncio.create_task(bench.watch.recall())
    try:
        bench.second = 600.0
        bench.board.first_commit = first
        bench.board.touch()
        await until(task.done, "the reading", 60.0)
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task
        await end_worker_threads()
    bench.passes(200, co_ppm=120.0)
    assert "co_mean" in bench.standing()
    assert "WHO guideline, 15 minutes" in bench.text("co_mean")
