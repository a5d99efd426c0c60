import asyncio
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from typing import Any

import pytest

from emberline.links.arrivals import Lost
from emberline.service import intake as intake_module
from emberline.service.clock import Clock
from emberline.service.ingest import Ingest
from emberline.service.intake import MAX_HELD_SAMPLES, IngestCounts, Intake
from emberline.store.errors import StoreDamagedError, StoreError, StoreFullError, StoreReplacedError
from emberline.store.records import CommitReceipt, Portion, Tally
from emberline.store.store import Store
from live_fixture import until
from unit.service.meanwhile import meanwhile
from unit.service.noting_device import Device
from unit.store.made_up import NOON_NS, batch

CLOCK = Clock(10.0, NOON_NS, 0.0)
Results = list[CommitReceipt | Exception]


def lost(first_seq: int, next_seq: int) -> Lost:
    return Lost("dev", 1, "mass", first_seq, next_seq, NOON_NS, NOON_NS + 1, "made up")


def intake_of(ingest: Ingest, bench: str = "bench", receipts: list[CommitReceipt] | None = None) -> Intake:
    return ingest.of(bench, IngestCounts(), (receipts if receipts is not None else []).append)


async def test_commit_then_acknowledge_then_publish(store: Store) -> None:
    order: list[str] = []

    class Watched(Device):
        def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
            assert store.tally("dev", 1, "mass") == Tally(10, 0)
            order.append("acknowledged")

    ingest = Ingest(store, CLOCK)
    intake = ingest.of("bench", IngestCounts(), lambda _: order.append("published"))
    async with meanwhile(ingest.run()):
        await intake.put(Watched(), [batch(0, 10)])
        await until(lambda: len(order) == 2, "the publication")
    assert order == ["acknowledged", "published"]


async def test_what_arrives_together_shares_a_commit(store: Store) -> None:
    ingest, device = Ingest(store, CLOCK), Device()
    intake = intake_of(ingest)
    async with meanwhile(ingest.run()):
        await intake.put(device, [batch(0, 10)])
        await intake.put(device, [batch(10, 10), batch(0, 4, channel="water")])
        await until(lambda: intake.counts.committed == 24, "the commit")
    assert intake.counts.commits == 1
    assert device.told == [(1, {"mass": 20, "water": 4})]


async def test_benches_share_a_transaction_and_each_has_its_receipt(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    together: list[list[str]] = []
    submit = store.submit_commits

    def noted(portions: Sequence[Portion]) -> "Future[Results]":
        together.append([portion.bench for portion in portions])
        return submit(portions)

    monkeypatch.setattr(store, "submit_commits", noted)
    ingest = Ingest(store, CLOCK)
    receipts: dict[str, list[CommitReceipt]] = {f"b{number}": [] for number in range(60)}
    intakes = [intake_of(ingest, bench, got) for bench, got in receipts.items()]
    for number, intake in enumerate(intakes):
        await intake.put(Device(), [batch(0, 1 + number, device=intake.bench)])
    async with meanwhile(ingest.run()):
        await until(lambda: all(intake.counts.commits for intake in intakes), "the commit")
    assert together == [list(receipts)]
    told = [(receipt.commit, receipt.stored[0].device) for got in receipts.values() for receipt in got]
    assert told == [(1 + number, f"b{number}") for number in range(60)]
    for number, bench in enumerate(receipts):
        assert [len(one) for one in store.batches(bench)] == [1 + number]


async def test_all_benches_of_a_commit_are_acknowledged_in_one_turn_of_a_loop_whose_turns_may_be_long(
    store: Store,
) -> None:
    # 25 at a turn were: on a machine short of time a turn took seconds, and a thousand acknowledgements a minute.
    turns, told_in = 0, list[int]()

    class Watched(Device):
        def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
            told_in.append(turns)

    async def count() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0.0)

    ingest = Ingest(store, CLOCK)
    for number in range(60):
        await intake_of(ingest, f"b{number}").put(Watched(), [batch(0, 10, device=f"b{number}")])
    async with meanwhile(ingest.run()), meanwhile(count()):
        await until(lambda: len(told_in) == 60, "the acknowledgements")
    assert len(set(told_in)) == 1


async def test_what_cannot_be_stored_of_one_bench_is_told_and_tried_again_and_keeps_no_other_waiting(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(intake_module, "TRY_AGAIN_S", 0.01)
    ingest, device, told = Ingest(store, CLOCK), Device(), list[str]()
    bad, good = ingest.of("bad", IngestCounts(), lambda _: None, told.append), intake_of(ingest, "good")
    decreasing = batch(0, 10, device="odd")
    decreasing.t_ns[:] = decreasing.t_ns[::-1].copy()
    async with meanwhile(ingest.run()):
        await bad.put(device, [decreasing])
        await good.put(device, [batch(0, 10)])
        await until(lambda: bool(told), "the trouble")
        assert good.counts.commits == 1
        assert "times decrease" in told[0]
        decreasing.t_ns[:] = decreasing.t_ns[::-1].copy()
        await until(lambda: bad.counts.commits == 1, "another attempt")
    assert told[1:] == [""]
    assert caplog.text.count("cannot be stored") == 1


async def test_repeats_are_acknowledged_but_stored_and_published_once(store: Store) -> None:
    receipts: list[CommitReceipt] = []
    ingest, device = Ingest(store, CLOCK), Device()
    intake = intake_of(ingest, receipts=receipts)
    async with meanwhile(ingest.run()):
        await intake.put(device, [batch(0, 10)])
        await until(lambda: intake.counts.commits == 1, "the first commit")
        await intake.put(device, [batch(5, 10)])
        await until(lambda: intake.counts.commits == 2, "the second commit")
    assert store.tally("dev", 1, "mass") == Tally(15, 0)
    assert (intake.counts.committed, intake.counts.repeated) == (15, 5)
    assert sum(len(one) for receipt in receipts for one in receipt.stored) == 15
    assert device.wanted(1, "mass") == 15


async def test_a_loss_is_flagged_counted_and_passed_over(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    ingest, device = Ingest(store, CLOCK), Device()
    intake = intake_of(ingest)
    async with meanwhile(ingest.run()):
        await intake.put(device, [lost(0, 7), batch(7, 3)])
        await until(lambda: intake.counts.commits == 1, "the commit")
    assert store.tally("dev", 1, "mass") == Tally(3, 7)
    assert (intake.counts.committed, intake.counts.lost) == (3, 7)
    assert device.wanted(1, "mass") == 10
    assert "7 samples of mass are lost: made up" in caplog.text


async def test_two_boots_are_acknowledged_apart(store: Store) -> None:
    ingest, device = Ingest(store, CLOCK), Device()
    intake = intake_of(ingest)
    async with meanwhile(ingest.run()):
        await intake.put(device, [batch(0, 10, boot=1), batch(0, 5, boot=2)])
        await until(lambda: len(device.told) == 2, "both acknowledgements")
    assert device.told == [(1, {"mass": 10}), (2, {"mass": 5})]


class SlowStore:
    """Takes a commit when it is let, and refuses as often as it is told to."""

    def __init__(self, store: Store, refusals: int = 0) -> None:
        self.store = store
        self.refusals = refusals
        self.let = asyncio.Event()
        self.asked = 0

    def submit_commits(self, portions: Sequence[Portion]) -> "Future[Results]":
        self.asked += 1
        future: Future[Results] = Future()
        if self.refusals:
            self.refusals -= 1
            future.set_exception(StoreFullError("the disk is full: free some room"))
        elif not self.let.is_set():
            self.waiting = asyncio.create_task(self._later(portions, future))
        else:
            return self.store.submit_commits(portions)
        return future

    async def _later(self, portions: Sequence[Portion], future: "Future[Results]") -> None:
        await self.let.wait()
        future.set_result([self.store.commit(one.bench, one.batches, one.gaps) for one in portions])


async def test_a_full_queue_makes_the_source_wait_and_loses_nothing(store: Store) -> None:
    slow: Any = SlowStore(store)
    ingest, device = Ingest(slow, CLOCK), Device()
    intake = intake_of(ingest)
    size = MAX_HELD_SAMPLES // 4
    handed_in = 0

    async def source() -> None:
        nonlocal handed_in
        for index in range(12):
            await intake.put(device, [batch(index * size, size)])
            handed_in += 1

    async with meanwhile(ingest.run()):
        task = asyncio.create_task(source())
        await until(lambda: slow.asked == 1, "the first commit to hang")
        await until(lambda: intake.counts.held >= MAX_HELD_SAMPLES, "the queue to be full")
        assert handed_in < 12
        assert device.told == []
        slow.let.set()
        await task
        assert await intake.emptied(30.0)
    assert store.tally("dev", 1, "mass") == Tally(12 * size, 0)


async def test_while_the_disk_is_full_nothing_is_acknowledged_and_nothing_forgotten(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(intake_module, "TRY_AGAIN_S", 0.01)
    slow: Any = SlowStore(store, refusals=5)
    slow.let.set()
    ingest, device = Ingest(slow, CLOCK), Device()
    intake, other = intake_of(ingest), intake_of(ingest, "other")
    async with meanwhile(ingest.run()):
        await intake.put(device, [batch(0, 10)])
        await other.put(device, [batch(0, 10, device="another")])
        await until(lambda: "disk is full" in intake.counts.trouble, "the trouble to show")
        assert "disk is full" in other.counts.trouble
        assert device.told == []
        await until(lambda: len(device.told) == 2, "the disk to be freed")
    assert (intake.counts.trouble, other.counts.trouble) == ("", "")
    assert store.tally("dev", 1, "mass") == Tally(10, 0)
    assert caplog.text.count("disk is full") == 1
    assert "stored again" in caplog.text


@pytest.mark.parametrize("alone", [False, True], ids=["of the file", "of one bench"])
@pytest.mark.parametrize("kind", [StoreDamagedError, StoreReplacedError])
async def test_a_store_that_can_take_nothing_more_ends_the_task_and_nothing_is_acknowledged(
    store: Store, kind: type[StoreError], alone: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> "Future[Results]":
        future: Future[Results] = Future()
        if alone:
            future.set_result([kind("a page is damaged")])
        else:
            future.set_exception(kind("a page is damaged"))
        return future

    monkeypatch.setattr(store, "submit_commits", refuse)
    ingest, device = Ingest(store, CLOCK), Device()
    intake, late = intake_of(ingest), intake_of(ingest, "late")
    await intake.put(device, [batch(0, 10)])
    with pytest.raises(kind):
        await ingest.run()
    assert device.told == []
    await late.put(device, [batch(0, 10)])
    async with asyncio.timeout(5.0):
        # Nobody waits for what cannot be stored any more.
        assert not await intake.emptied(60.0)
        assert not await late.emptied(60.0)


async def test_what_waits_and_how_long_commits_take_is_counted(store: Store) -> None:
    ingest = Ingest(store, CLOCK)
    intake = intake_of(ingest)
    await intake.put(Device(), [batch(0, 10)])
    assert intake.counts.held == 10
    async with meanwhile(ingest.run()):
        await until(lambda: intake.counts.commits == 1 and intake.counts.held == 0, "the commit")
    (duration_s,) = ingest.durations_s
    assert 0.0 < duration_s < 10.0


async def test_what_a_failure_left_unacknowledged_is_stored_once_and_acknowledged_later(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake_module, "TRY_AGAIN_S", 0.01)
    ingest, device, failures = Ingest(store, CLOCK), Device(), 0

    def publish(_: CommitReceipt) -> None:
        nonlocal failures
        failures += 1
        if failures == 1:
            raise ValueError("a bug")

    intake = ingest.of("bench", IngestCounts(), publish)
    await intake.put(device, [batch(0, 10)])
    async with meanwhile(ingest.run()):
        await until(lambda: failures == 1, "the failure")
        await intake.put(device, [batch(10, 10)])
        await until(lambda: device.wanted(1, "mass") == 20, "the acknowledgement")
        assert await intake.emptied(10.0)
    assert store.tally("dev", 1, "mass") == Tally(20, 0)


async def test_a_task_that_was_ended_amid_a_commit_leaves_what_it_had_taken_to_the_next(store: Store) -> None:
    slow: Any = SlowStore(store)
    ingest, device = Ingest(slow, CLOCK), Device()
    intake = intake_of(ingest)
    async with meanwhile(ingest.run()):
        await intake.put(device, [batch(0, 10)])
        await until(lambda: slow.asked == 1, "the commit")
    slow.waiting.cancel()
    slow.let.set()
    async with meanwhile(ingest.run()):
        assert await intake.emptied(10.0)
    assert device.told == [(1, {"mass": 10})]
