import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import asynccontextmanager
from typing import Any

import pytest

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Lost
from emberline.service import ingest as module
from emberline.service.clock import Clock
from emberline.service.ingest import MAX_HELD_SAMPLES, Ingest
from emberline.store.errors import StoreDamagedError, StoreError, StoreFullError, StoreReplacedError
from emberline.store.records import CommitReceipt, Gap, Tally
from emberline.store.store import Store
from live_fixture import until
from unit.store.made_up import NOON_NS, batch

CLOCK = Clock(10.0, NOON_NS, 0.0)


class Device:
    """Notes what it is told is stored."""

    def __init__(self) -> None:
        self.told: list[tuple[int, dict[str, int]]] = []

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        self.told.append((boot, dict(wanted)))

    def wanted(self, boot: int, channel: str) -> int:
        return max((wanted.get(channel, 0) for told, wanted in self.told if told == boot), default=0)


def lost(first_seq: int, next_seq: int) -> Lost:
    return Lost("dev", 1, "mass", first_seq, next_seq, NOON_NS, NOON_NS + 1, "made up")


@asynccontextmanager
async def running(ingest: Ingest) -> AsyncIterator[None]:
    task = asyncio.create_task(ingest.run())
    try:
        yield
    finally:
        await ingest.close()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def ingest_into(store: Any, receipts: list[CommitReceipt] | None = None) -> Ingest:
    return Ingest(store, "bench", CLOCK, (receipts if receipts is not None else []).append)


async def test_commit_then_acknowledge_then_publish(store: Store) -> None:
    order: list[str] = []

    class Watched(Device):
        def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
            assert store.tally("dev", 1, "mass") == Tally(10, 0)
            order.append("acknowledged")

    ingest = Ingest(store, "bench", CLOCK, lambda _: order.append("published"))
    async with running(ingest):
        await ingest.put(Watched(), [batch(0, 10)])
        await until(lambda: len(order) == 2, "the publication")
    assert order == ["acknowledged", "published"]


async def test_what_arrives_together_shares_a_commit(store: Store) -> None:
    ingest, device = ingest_into(store), Device()
    async with running(ingest):
        await ingest.put(device, [batch(0, 10)])
        await ingest.put(device, [batch(10, 10), batch(0, 4, channel="water")])
        await until(lambda: ingest.counts.committed == 24, "the commit")
    assert ingest.counts.commits == 1
    assert device.told == [(1, {"mass": 20, "water": 4})]


async def test_repeats_are_acknowledged_but_stored_and_published_once(store: Store) -> None:
    receipts: list[CommitReceipt] = []
    ingest, device = ingest_into(store, receipts), Device()
    async with running(ingest):
        await ingest.put(device, [batch(0, 10)])
        await until(lambda: ingest.counts.commits == 1, "the first commit")
        await ingest.put(device, [batch(5, 10)])
        await until(lambda: ingest.counts.commits == 2, "the second commit")
    assert store.tally("dev", 1, "mass") == Tally(15, 0)
    assert (ingest.counts.committed, ingest.counts.repeated) == (15, 5)
    assert sum(len(one) for receipt in receipts for one in receipt.stored) == 15
    assert device.wanted(1, "mass") == 15


async def test_a_loss_is_flagged_counted_and_passed_over(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    ingest, device = ingest_into(store), Device()
    async with running(ingest):
        await ingest.put(device, [lost(0, 7), batch(7, 3)])
        await until(lambda: ingest.counts.commits == 1, "the commit")
    assert store.tally("dev", 1, "mass") == Tally(3, 7)
    assert (ingest.counts.committed, ingest.counts.lost) == (3, 7)
    assert device.wanted(1, "mass") == 10
    assert "7 samples of mass are lost: made up" in caplog.text


async def test_two_boots_are_acknowledged_apart(store: Store) -> None:
    ingest, device = ingest_into(store), Device()
    async with running(ingest):
        await ingest.put(device, [batch(0, 10, boot=1), batch(0, 5, boot=2)])
        await until(lambda: len(device.told) == 2, "both acknowledgements")
    assert device.told == [(1, {"mass": 10}), (2, {"mass": 5})]


async def test_closing_stores_what_was_handed_in(store: Store) -> None:
    ingest, device = ingest_into(store), Device()
    async with running(ingest):
        await ingest.put(device, [batch(0, 10)])
    assert store.tally("dev", 1, "mass") == Tally(10, 0)
    assert device.told == [(1, {"mass": 10})]


class SlowStore:
    """Takes a commit when it is let, and refuses as often as it is told to."""

    def __init__(self, store: Store, refusals: int = 0) -> None:
        self.store = store
        self.refusals = refusals
        self.let = asyncio.Event()
        self.asked = 0

    def submit_commit(
        self, bench: str, batches: Sequence[SampleBatch], gaps: Sequence[Gap] = ()
    ) -> "Future[CommitReceipt]":
        self.asked += 1
        future: Future[CommitReceipt] = Future()
        if self.refusals:
            self.refusals -= 1
            future.set_exception(StoreFullError("the disk is full: free some room"))
        elif not self.let.is_set():
            self.waiting = asyncio.create_task(self._later(bench, batches, gaps, future))
        else:
            return self.store.submit_commit(bench, batches, gaps)
        return future

    async def _later(
        self, bench: str, batches: Sequence[SampleBatch], gaps: Sequence[Gap], future: "Future[CommitReceipt]"
    ) -> None:
        await self.let.wait()
        future.set_result(self.store.commit(bench, batches, gaps))


async def test_a_full_queue_makes_the_source_wait_and_loses_nothing(store: Store) -> None:
    slow = SlowStore(store)
    ingest, device = ingest_into(slow), Device()
    size = MAX_HELD_SAMPLES // 4
    handed_in = 0

    async def source() -> None:
        nonlocal handed_in
        for index in range(12):
            await ingest.put(device, [batch(index * size, size)])
            handed_in += 1

    async with running(ingest):
        task = asyncio.create_task(source())
        await until(lambda: slow.asked == 1, "the first commit to hang")
        await asyncio.sleep(0.05)
        assert handed_in < 12
        assert device.told == []
        slow.let.set()
        await task
    assert store.tally("dev", 1, "mass") == Tally(12 * size, 0)


async def test_while_the_disk_is_full_nothing_is_acknowledged_and_nothing_forgotten(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(module, "TRY_AGAIN_S", 0.01)
    slow = SlowStore(store, refusals=5)
    slow.let.set()
    ingest, device = ingest_into(slow), Device()
    async with running(ingest):
        await ingest.put(device, [batch(0, 10)])
        await until(lambda: "disk is full" in ingest.counts.trouble, "the trouble to show")
        assert device.told == []
        await until(lambda: bool(device.told), "the disk to be freed")
    assert ingest.counts.trouble == ""
    assert store.tally("dev", 1, "mass") == Tally(10, 0)
    assert caplog.text.count("disk is full") == 1
    assert "stored again" in caplog.text


@pytest.mark.parametrize("kind", [StoreDamagedError, StoreReplacedError])
async def test_a_store_that_can_take_nothing_more_ends_the_task_and_nothing_is_acknowledged(
    store: Store, kind: type[StoreError], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> "Future[CommitReceipt]":
        future: Future[CommitReceipt] = Future()
        future.set_exception(kind("a page is damaged"))
        return future

    monkeypatch.setattr(store, "submit_commit", refuse)
    ingest, device = ingest_into(store), Device()
    await ingest.put(device, [batch(0, 10)])
    with pytest.raises(kind):
        await ingest.run()
    assert device.told == []


async def test_what_waits_and_how_long_commits_take_is_counted(store: Store) -> None:
    ingest = ingest_into(store)
    await ingest.put(Device(), [batch(0, 10)])
    assert ingest.counts.held == 10
    async with running(ingest):
        await until(lambda: ingest.counts.commits == 1 and ingest.counts.held == 0, "the commit")
    (duration_s,) = ingest.counts.durations_s
    assert 0.0 < duration_s < 10.0


async def test_what_a_failure_left_unstored_is_stored_by_whoever_runs_it_again(store: Store) -> None:
    ingest, device = ingest_into(store), Device()
    failures = 0

    def publish(_: CommitReceipt) -> None:
        nonlocal failures
        failures += 1
        if failures == 1:
            raise ValueError("a bug")

    ingest.publish = publish
    await ingest.put(device, [batch(0, 10)])
    with pytest.raises(ValueError, match="a bug"):
        await ingest.run()
    await ingest.put(device, [batch(10, 10)])
    async with running(ingest):
        await until(lambda: device.wanted(1, "mass") == 20, "the acknowledgement")
    assert store.tally("dev", 1, "mass") == Tally(20, 0)
    assert ingest.counts.held == 0
