"""A courier with a way of the test's, and a clock that the test moves."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import replace

import pytest

from emberline.service.alarms import AlarmNews, Happening
from emberline.service.delivery import courier as module
from emberline.service.delivery.courier import MOST_WAITING, Courier
from emberline.service.delivery.message import Message
from emberline.service.delivery.ways import UndeliveredError
from emberline.trials.alarms import AlarmKind
from emberline.trials.live_document import AlarmShown
from live_fixture import until

ALARM = AlarmShown(AlarmKind.LOAD_GONE, "It fell.", 1_000)
OTHER = AlarmShown(AlarmKind.CO_HIGH, "300 ppm.", 2_000)


class Way:
    """Takes messages, or fails, or takes its time."""

    name = "the way"

    def __init__(self) -> None:
        self.taken: list[Message] = []
        self.failures = 0
        self.open = asyncio.Event()
        self.open.set()

    async def deliver(self, message: Message) -> None:
        await self.open.wait()
        if self.failures:
            self.failures -= 1
            raise UndeliveredError("nobody there")
        self.taken.append(message)

    def happenings(self) -> list[str]:
        return [one.happening for one in self.taken]


class Delivering:
    """A courier at work."""

    def __init__(self) -> None:
        self.way = Way()
        self.reports: list[str] = []
        self.second = 0.0
        self.courier = Courier(self.way, "UTC", 60.0, 200.0, self.reports.append, lambda: self.second)

    def news(self, happening: Happening, alarm: AlarmShown = ALARM) -> None:
        self.courier.take(AlarmNews("yard", happening, alarm))

    async def has(self, *happenings: str) -> None:
        await until(lambda: self.way.happenings() == list(happenings), f"{happenings}, not {self.way.happenings()}")


@asynccontextmanager
async def delivering() -> AsyncIterator[Delivering]:
    one = Delivering()
    task = asyncio.create_task(one.courier.run())
    try:
        yield one
        assert not task.done(), task
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "AGAIN_S", 0.01)


async def test_what_happens_is_delivered_in_order() -> None:
    async with delivering() as one:
        one.news(Happening.RAISED)
        await one.has("raised")
        one.news(Happening.ACKNOWLEDGED, replace(ALARM, acknowledged_ns=1))
        await one.has("raised", "acknowledged")
        one.news(Happening.GONE)
        await one.has("raised", "acknowledged", "gone")
        assert (one.courier.delivered, one.courier.failed, set(one.reports)) == (3, 0, {""})


async def test_it_goes_again_after_longer_and_longer_times_until_it_is_acknowledged() -> None:
    """The alarm is told every half minute; it is delivered after 60, 120 and then each 200 s."""
    async with delivering() as one:
        one.news(Happening.RAISED)
        await one.has("raised")
        delivered_at = []
        for _ in range(20):
            one.second += 30.0
            before = one.courier.delivered
            one.news(Happening.STILL)
            if one.courier._waiting:
                delivered_at.append(one.second)
                await until(lambda: one.courier.delivered > before, "the reminder")  # noqa: B023 awaited at once
        assert delivered_at == [60.0, 180.0, 390.0, 600.0]
        one.news(Happening.ACKNOWLEDGED)
        await until(lambda: one.way.happenings()[-1] == "acknowledged", "the acknowledgement")


async def test_a_way_that_fails_is_tried_again_and_that_is_told() -> None:
    async with delivering() as one:
        one.way.failures = 3
        one.news(Happening.RAISED)
        one.news(Happening.STILL)
        await one.has("raised")
        await until(lambda: one.reports[-1] == "", "the end of trouble")
    assert one.reports == [*["an alarm could not be delivered: nobody there"] * 3, ""]
    assert (one.courier.delivered, one.courier.failed) == (1, 3)


async def test_while_a_way_is_slow_the_newest_of_each_alarm_waits_and_nobody_else() -> None:
    async with delivering() as one:
        one.way.open.clear()
        for k in range(1_000):
            one.news(Happening.RAISED)
            one.news(Happening.RAISED, OTHER)
            one.news(Happening.GONE, replace(ALARM, cleared_ns=k))
        assert len(one.courier._waiting) == 2
        one.way.open.set()
        await until(lambda: not one.courier._waiting, "the rest")
    assert sorted((m.kind, m.happening) for m in one.way.taken) == [("co_high", "raised"), ("load_gone", "gone")]


async def test_what_happens_while_a_message_is_under_way_follows_it() -> None:
    async with delivering() as one:
        one.way.open.clear()
        one.news(Happening.RAISED)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        one.news(Happening.ACKNOWLEDGED, replace(ALARM, acknowledged_ns=1, acknowledged_by="Ada"))
        one.way.open.set()
        await one.has("raised", "acknowledged")


async def test_a_way_that_is_away_for_long_keeps_the_newest_alarms(caplog: pytest.LogCaptureFixture) -> None:
    async with delivering() as one:
        one.way.open.clear()
        for k in range(MOST_WAITING + 5):
            one.news(Happening.RAISED, replace(ALARM, raised_ns=k))
        assert len(one.courier._waiting) == MOST_WAITING
        assert caplog.text.count("not delivered by it: The load is gone") == 5
