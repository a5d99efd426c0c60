import asyncio
import logging

import pytest

from emberline.service import supervisor as module
from emberline.service.supervisor import TOO_OFTEN, OnFailure, Supervisor


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "RESTART_PAUSE_S", 0.001)


async def test_a_task_has_its_name_and_ends_when_stopped() -> None:
    supervisor = Supervisor()
    names = []

    async def work() -> None:
        task = asyncio.current_task()
        names.append(task.get_name() if task else "")
        await asyncio.Event().wait()

    supervisor.start("link", work)
    await asyncio.sleep(0)
    assert supervisor.names() == ["link"]
    assert await supervisor.stop("link", 1.0)
    assert supervisor.names() == []
    assert names == ["link"]


async def test_a_failing_task_is_started_again_and_others_go_on(caplog: pytest.LogCaptureFixture) -> None:
    supervisor = Supervisor()
    runs = 0
    again = asyncio.Event()

    async def fail_twice() -> None:
        nonlocal runs
        runs += 1
        if runs <= 2:
            raise RuntimeError("unplugged")
        again.set()
        await asyncio.Event().wait()

    async def steady() -> None:
        await asyncio.Event().wait()

    supervisor.start("source", fail_twice)
    supervisor.start("store", steady)
    async with asyncio.timeout(5.0):
        await again.wait()
    assert supervisor.names() == ["source", "store"]
    assert supervisor.failure is None
    errors = [record for record in caplog.records if record.levelno == logging.ERROR]
    assert len(errors) == 2
    assert all(record.exc_info for record in errors)
    for name in ("source", "store"):
        await supervisor.stop(name, 1.0)


async def test_a_task_that_fails_again_and_again_ends_the_daemon() -> None:
    supervisor = Supervisor()
    runs = 0

    async def always_fail() -> None:
        nonlocal runs
        runs += 1
        raise RuntimeError("broken for good")

    supervisor.start("trials", always_fail)
    async with asyncio.timeout(5.0):
        await supervisor.failed.wait()
    assert runs == TOO_OFTEN
    assert "trials failed: broken for good" in str(supervisor.failure)
    assert await supervisor.ended("trials", 1.0)


async def test_a_task_without_which_data_would_be_lost_ends_the_daemon_at_once() -> None:
    supervisor = Supervisor()

    async def fail() -> None:
        raise RuntimeError("no store")

    supervisor.start("ingest", fail, OnFailure.END)
    async with asyncio.timeout(5.0):
        await supervisor.failed.wait()
    assert supervisor.failure is not None
    assert isinstance(supervisor.failure.__cause__, RuntimeError)
    assert await supervisor.ended("ingest", 1.0)


async def test_a_task_that_will_not_end_is_given_up_after_its_limit(caplog: pytest.LogCaptureFixture) -> None:
    supervisor = Supervisor()
    free = asyncio.Event()
    begun = asyncio.Event()

    async def stubborn() -> None:
        begun.set()
        while not free.is_set():
            try:
                await free.wait()
            except asyncio.CancelledError:
                continue

    supervisor.start("hung", stubborn)
    await begun.wait()
    assert not await supervisor.stop("hung", 0.02)
    assert "hung did not end" in caplog.text
    free.set()
    assert await supervisor.ended("hung", 1.0)


async def test_a_task_that_returns_is_over() -> None:
    supervisor = Supervisor()

    async def once() -> None:
        pass

    supervisor.start("once", once)
    assert await supervisor.ended("once", 1.0)
    assert await supervisor.ended("unknown", 1.0)
    assert await supervisor.stop("unknown", 1.0)


async def test_a_task_of_one_bench_is_tried_for_ever_after_longer_and_longer_pauses_and_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    supervisor = Supervisor()
    said: list[str] = []
    runs, enough = 0, asyncio.Event()
    pauses_s: list[float] = []
    sleep = asyncio.sleep

    async def note(seconds: float) -> None:
        pauses_s.append(seconds)
        await sleep(0)

    async def always_fail() -> None:
        nonlocal runs
        runs += 1
        if runs > 2 * TOO_OFTEN:
            enough.set()
            await asyncio.Event().wait()
        raise RuntimeError("unplugged")

    monkeypatch.setattr(module, "RESTART_PAUSE_S", 1.0)
    monkeypatch.setattr(asyncio, "sleep", note)
    supervisor.start("link of yard", always_fail, OnFailure.PERSIST, said.append)
    async with asyncio.timeout(5.0):
        await enough.wait()
    assert supervisor.failure is None
    assert pauses_s == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0, 60.0]
    assert said == ["link of yard failed, and is started again: unplugged", ""] * 10
    await supervisor.stop("link of yard", 1.0)


async def test_what_ran_well_for_a_while_is_started_again_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    supervisor = Supervisor()
    monkeypatch.setattr(module, "WITHIN_S", 0.0)
    runs, enough = 0, asyncio.Event()

    async def fail_later() -> None:
        nonlocal runs
        runs += 1
        if runs > 20:
            enough.set()
            await asyncio.Event().wait()
        await asyncio.sleep(0.001)
        raise RuntimeError("unplugged")

    supervisor.start("link of yard", fail_later, OnFailure.PERSIST)
    # With growing pauses of 1 ms and more, twenty would take a quarter of an hour.
    async with asyncio.timeout(20.0):
        await enough.wait()
    await supervisor.stop("link of yard", 1.0)
