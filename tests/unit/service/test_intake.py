"""The queue of one bench; with the store behind it in `test_ingest`."""

import asyncio

import pytest

from emberline.links.arrivals import Lost
from emberline.service import intake as module
from emberline.service.intake import MAX_HELD_SAMPLES, IngestCounts, Intake
from emberline.store.errors import StoreBusyError
from emberline.store.records import CommitReceipt, Gap
from live_fixture import until
from unit.service.noting_device import Device
from unit.store.made_up import NOON_NS, batch


def made(noticed: list[Intake], told: list[str] | None = None) -> Intake:
    return Intake("yard", IngestCounts(), noticed.append, lambda _: None, (told if told is not None else []).append)


def nothing_stored() -> CommitReceipt:
    return CommitReceipt(None, (), 0, ())


async def test_what_is_taken_is_a_portion_for_the_store_in_the_order_of_its_arrival() -> None:
    intake, device = made([]), Device()
    lost = Lost("dev", 1, "mass", 10, 12, NOON_NS, NOON_NS + 1, "made up")
    first, second = batch(0, 10), batch(12, 3)
    await intake.put(device, [first, lost])
    await intake.put(device, [second])
    assert intake.counts.held == 14
    held = intake.take()
    portion = intake.portion(held)
    assert (portion.bench, list(portion.batches)) == ("yard", [first, second])
    assert portion.gaps == [Gap("dev", 1, "mass", 10, 12, NOON_NS, NOON_NS + 1, "made up")]
    assert intake.take() == []
    intake.stored(held, CommitReceipt(7, (first, second), 0, ()), 5)
    assert (intake.counts.held, intake.counts.committed, intake.counts.last_commit_ns) == (0, 13, 5)
    assert device.told == [(1, {"mass": 15})]


async def test_what_was_refused_comes_first_and_is_told_of_after_a_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "TRY_AGAIN_S", 0.02)
    noticed: list[Intake] = []
    intake, device = made(noticed), Device()
    first, second = batch(0, 10), batch(10, 10)
    await intake.put(device, [first])
    intake.refused(intake.take(), StoreBusyError("locked"))
    await intake.put(device, [second])
    assert (len(noticed), intake.counts.trouble) == (1, "locked")
    await until(lambda: len(noticed) == 2, "another attempt")
    held = intake.take()
    assert [one.item for one in held] == [first, second]
    intake.stored(held, nothing_stored(), 1)
    assert intake.counts.trouble == ""


async def test_a_bug_is_told_once_and_the_all_clear_once() -> None:
    told: list[str] = []
    intake = made([], told)
    await intake.put(Device(), [batch(0, 10)])
    for _ in range(3):
        intake.refused(intake.take(), ValueError("a bug"))
    for _ in range(2):
        intake.stored(intake.take(), nothing_stored(), 1)
    assert [bool(words) for words in told] == [True, False]
    assert "a bug" in told[0]


async def test_nobody_waits_for_longer_than_he_wants_or_for_a_store_that_takes_nothing_more() -> None:
    intake = made([])
    assert await intake.emptied(5.0)
    await intake.put(Device(), [batch(0, MAX_HELD_SAMPLES)])
    assert not await intake.emptied(0.01)
    intake.give_up()
    async with asyncio.timeout(5.0):
        assert not await intake.emptied(60.0)
