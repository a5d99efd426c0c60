"""Benches are heard of by the hellos that a broker keeps, and by those that come."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from pathlib import Path

import pytest
from paho.mqtt import publish

from broker_fixture import Broker
from emberline.bench.bench_file import Broker as BrokerEntry
from emberline.config import BrokerAccess
from emberline.links.mqtt_hellos import HelloWatch
from emberline.links.pauses import Pauses
from emberline.service.clock import Clock
from emberline_wire import Ack, Channel, Hello, Kind, Message, seal
from live_fixture import end_worker_threads, until

HELLO = Hello(
    device="board",
    boot=1,
    firmware="1",
    ticks=0,
    channels=(Channel(id=0, name="mass", kind=Kind.BRIDGE_COUNTS, period_us=100_000, scale=0.1, zero=0),),
    frame_period_ms=1_000,
    ring_ms=60_000,
)


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


def say(broker: Broker, bench: str, message: Message | None, *, kept: bool = True) -> None:
    payload = b"" if message is None else seal(message.to_bytes())
    publish.single(f"emberline/v1/{bench}/hello", payload, qos=1, retain=kept, hostname=broker.host, port=broker.port)


class Listener:
    """Hears of benches through a watch that runs beside a test."""

    def __init__(self, host: str, port: int) -> None:
        self.heard: list[str] = []
        self.troubles: list[str] = []
        access = BrokerAccess(BrokerEntry(host, port=port), Path(), {})
        clock = Clock(1.0, 10**18, 0.0)
        self.watch = HelloWatch(access, "hellos", clock, self.troubles.append, Pauses(0.05))

    @contextlib.asynccontextmanager
    async def listening(self) -> AsyncIterator["Listener"]:
        async def heard(benches: Sequence[str]) -> None:
            self.heard += benches

        task = asyncio.ensure_future(self.watch.run(heard))
        try:
            yield self
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task


async def test_kept_and_fresh_hellos_are_heard_and_nothing_else(broker: Broker) -> None:
    await asyncio.to_thread(say, broker, "yard", HELLO)
    await asyncio.to_thread(say, broker, "gone", HELLO)
    await asyncio.to_thread(say, broker, "gone", None)
    await asyncio.to_thread(say, broker, "odd name", HELLO)
    await asyncio.to_thread(say, broker, "junk", Ack(1, {0: 5}))
    async with Listener(broker.host, broker.port).listening() as listener:
        await until(lambda: listener.heard == ["yard"], "the hello that was kept")
        await asyncio.to_thread(say, broker, "shed", HELLO, kept=False)
        await until(lambda: listener.heard == ["yard", "shed"], "the fresh hello")
        assert listener.watch.discarded == 2
        assert listener.troubles == [""]


async def test_a_broker_that_comes_later_or_again_is_listened_to(tmp_path: Path) -> None:
    broker = Broker(tmp_path / "broker", persistence=True)
    async with Listener(broker.host, broker.port).listening() as listener:
        await until(lambda: bool(listener.troubles), "the trouble")
        assert listener.troubles[0].startswith("benches cannot be looked for: ")
        try:
            await asyncio.to_thread(broker.start)
            await asyncio.to_thread(say, broker, "yard", HELLO)
            await until(lambda: "yard" in listener.heard, "the hello")
            before = len(listener.heard)
            await asyncio.to_thread(broker.stop)
            await asyncio.to_thread(broker.start)
            await until(lambda: len(listener.heard) > before, "the hello that was kept across the restart")
            assert (set(listener.heard), listener.troubles[-1]) == ({"yard"}, "")
        finally:
            broker.kill()
