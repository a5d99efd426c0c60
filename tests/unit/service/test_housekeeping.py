import asyncio
import logging
import shutil
from pathlib import Path

import pytest

from emberline.service import housekeeping as module
from emberline.service.clock import Clock
from emberline.service.health import Disk, HealthWatch
from emberline.service.housekeeping import DAY_S, Housekeeping, disk_of, disk_warning
from emberline.store.connection import reading
from emberline.store.errors import StoreFullError
from emberline.store.records import Pruned
from emberline.store.store import Store
from live_fixture import until
from unit.store.made_up import NOON_NS, batch


def keeping(store: Store, days_on: float, keep_days: float | None) -> Housekeeping:
    clock = Clock(1.0, NOON_NS, 0.0, lambda: days_on * DAY_S)
    return Housekeeping(store, clock, HealthWatch(clock), keep_days)


async def test_old_readings_outside_trials_go_and_those_of_trials_stay(
    store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    store.commit("b", [batch(0, 10)])
    trial = store.create_trial(bench="other", start_ns=NOON_NS)
    store.commit("other", [batch(0, 10, device="dev2")])
    store.end_trial(trial.id, NOON_NS + 10**9)
    await keeping(store, 6.9, 7.0).prune()
    assert len(list(store.batches("b"))) == 1
    await keeping(store, 7.1, None).prune()
    assert len(list(store.batches("b"))) == 1
    await keeping(store, 7.1, 7.0).prune()
    assert list(store.batches("b")) == []
    assert len(list(store.batches("other"))) == 1
    assert "older than 7 days were dropped" in caplog.text


async def test_what_a_server_has_not_taken_waits_for_it(store: Store) -> None:
    store.commit("b", [batch(0, 10)])
    store.commit("b", [batch(10, 10)])
    store.advance_outbox("archive", 1)
    await keeping(store, 8.0, 7.0).prune()
    assert [one.first_seq for one in store.batches("b")] == [10]
    store.advance_outbox("archive", 2)
    await keeping(store, 8.0, 7.0).prune()
    assert list(store.batches("b")) == []


async def test_however_little_is_to_be_kept_the_newest_hour_stays(store: Store) -> None:
    store.commit("b", [batch(0, 10)])
    await keeping(store, 0.9 / 24.0, 0.0).prune()
    assert len(list(store.batches("b"))) == 1


async def test_what_is_older_than_an_hour_is_merged(store: Store) -> None:
    for i in range(20):
        store.commit("b", [batch(10 * i, 10)])

    def rows() -> int:
        with reading(store.path) as connection:
            return int(connection.execute("SELECT count(*) FROM blocks").fetchone()[0])

    await keeping(store, 0.5 / 24.0, 7.0).compact()
    assert rows() == 20
    await keeping(store, 2.0 / 24.0, 7.0).compact()
    assert rows() == 1
    assert len(list(store.commits("b"))) == 20


async def test_a_store_that_refuses_is_told_and_tried_again(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "FIRST_S", 0.0)
    monkeypatch.setattr(module, "EVERY_S", 0.01)
    refusals = [StoreFullError("the disk is full")] * 2

    def prune(before_ns: int) -> Pruned:
        if refusals:
            raise refusals.pop()
        return Pruned(0, 0)

    monkeypatch.setattr(store, "prune", prune)
    house = keeping(store, 1.0, 7.0)
    task = asyncio.create_task(house.run())
    await until(lambda: any("disk is full" in words for words in house.watch.health().warnings), "the warning")
    await until(lambda: not house.watch.health().warnings, "its end")
    task.cancel()
    await asyncio.wait([task])


def test_the_disk_is_measured(store: Store) -> None:
    store.commit("b", [batch(0, 10)])
    disk = disk_of(store.path)
    assert disk.store_bytes == store.path.stat().st_size
    assert disk.journal_bytes == Path(f"{store.path}-wal").stat().st_size > 0
    assert disk.free_bytes is not None
    assert disk_of(store.path.parent / "nowhere" / "s") == Disk(0, 0, None)


@pytest.mark.parametrize(
    ("free", "total", "warned"),
    [(999e6, 50e9, True), (1.1e9, 50e9, False), (100e6, 1.5e9, False), (70e6, 1.5e9, True), (0, 0, False)],
)
def test_little_room_is_told_before_there_is_none(
    store: Store, monkeypatch: pytest.MonkeyPatch, free: float, total: float, warned: bool
) -> None:
    usage = shutil._ntuple_diskusage(int(total), 0, int(free))
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    assert ("MB are left" in disk_warning(disk_of(store.path))) is warned


def test_a_journal_that_grows_without_end_is_told() -> None:
    assert "reads the store without end" in disk_warning(Disk(1, 200_000_000, 10**12))
