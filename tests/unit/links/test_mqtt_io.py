"""One connection to a broker: what arrives, what goes out, and how it ends."""

import asyncio
import functools
import time
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from broker_fixture import Broker
from emberline.bench import bench_file
from emberline.config import BrokerAccess
from emberline.links import mqtt_io
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.mqtt_io import MAX_UNSENT, MESSAGE_S, BrokerIO
from emberline.links.mqtt_messages import Letter, Packet
from emberline.links.mqtt_refusals import BrokerRefusedError
from live_fixture import until

WILL = Letter("gone", b"x")


def access(broker: Broker) -> BrokerAccess:
    return BrokerAccess(bench_file.Broker(broker.host, broker.port), Path(), {})


async def opened(broker: Broker, *topics: str, name: str = "host1") -> BrokerIO:
    return await BrokerIO.open(access(broker), name, topics or ("a/up",), WILL, time.monotonic_ns)


async def packets(link: BrokerIO, count: int) -> list[Packet]:
    found: list[Packet] = []
    async with asyncio.timeout(10.0):
        while len(found) < count:
            found += await link.received(0.5)
    return found


class Somebody:
    """Publishes from a thread of paho's."""

    def __init__(self, broker: Broker) -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, "somebody", protocol=MQTTProtocolVersion.MQTTv5)
        self._client.connect(broker.host, broker.port)

    def __enter__(self) -> "Somebody":
        self._client.loop_start()
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    async def say(self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False, **more: Any) -> None:
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        for key, value in more.items():
            setattr(properties, key, value)
        sent = self._client.publish(topic, payload, qos=qos, retain=retain, properties=properties)
        await asyncio.to_thread(sent.wait_for_publish, 5.0)


@pytest.fixture(autouse=True)
async def no_worker_left() -> Any:
    yield
    await asyncio.get_running_loop().shutdown_default_executor()


async def test_messages_arrive_with_all_that_is_known_of_them(broker: Broker) -> None:
    with Somebody(broker) as somebody:
        await somebody.say("a/up", b"old", retain=True)
        link = await opened(broker)
        await somebody.say("a/up", b"fresh", ContentType="application/senml+json")
        await somebody.say("a/up", b"light", qos=0)
        old, fresh, light = await packets(link, 3)
        await link.close()
    assert (old.payload, old.retained) == (b"old", True)
    assert (fresh.topic, fresh.payload, fresh.retained, fresh.again) == ("a/up", b"fresh", False, False)
    assert fresh.content == "application/senml+json"
    assert fresh.number > 0
    assert light.number == 0
    assert old.arrived_ns <= fresh.arrived_ns <= time.monotonic_ns()


async def test_what_a_message_has_waited_in_the_broker_is_known_and_never_too_much(broker: Broker) -> None:
    """MQTT 5, section 3.3.2.3.3: the broker takes the time that a message waited off its expiry interval."""
    await (await opened(broker)).close()
    with Somebody(broker) as somebody:
        sent_s = time.monotonic()
        await somebody.say("a/up", b"frame", MessageExpiryInterval=MESSAGE_S)
        # Brokers count in whole seconds, by a clock that no test can move.
        await asyncio.sleep(3.2)
        link = await opened(broker)
        (frame,) = await packets(link, 1)
        await link.close()
    assert 1.0 <= frame.waited_s <= time.monotonic() - sent_s


async def test_only_what_was_not_acknowledged_comes_again(broker: Broker) -> None:
    link = await opened(broker)
    with Somebody(broker) as somebody:
        for index in range(6):
            await somebody.say("a/up", b"%d" % index)
        first = await packets(link, 6)
        link.acknowledge([packet.number for packet in first[:4]])
        await link.close()
    second = await opened(broker)
    assert second.session_kept
    again = await packets(second, 2)
    await second.close()
    assert [packet.payload for packet in again] == [b"4", b"5"]
    assert all(packet.again for packet in again)


async def test_what_the_broker_has_not_confirmed_is_bounded(broker: Broker) -> None:
    link = await opened(broker)
    broker.freeze()
    taken = [link.send(Letter("b", b"x")) for _ in range(MAX_UNSENT + 5)]
    assert taken == [True] * MAX_UNSENT + [False] * 5
    broker.thaw()
    await until(lambda: link.room == MAX_UNSENT, "the confirmations")
    await link.close()


async def test_each_message_that_is_to_be_confirmed_is_whatever_goes_out_between(broker: Broker) -> None:
    link = await opened(broker)
    done: list[int] = []
    for index in range(6):
        link.send(Letter("b", b"x", sure=False))
        if index % 2:
            link.send(Letter("b", b"y", done=functools.partial(done.append, index)))
            await until(lambda: link.room == MAX_UNSENT, "the confirmation")
    assert done == [1, 3, 5]
    await link.close()


async def test_a_lost_connection_is_told_after_what_arrived_before(broker: Broker) -> None:
    link = await opened(broker)
    with Somebody(broker) as somebody:
        await somebody.say("a/up", b"last")
        await asyncio.sleep(0.1)
        broker.kill()
    assert [packet.payload for packet in await packets(link, 1)] == [b"last"]
    with pytest.raises(LinkLostError, match="broke"):
        await packets(link, 1)
    await link.close()


async def test_more_than_can_be_held_is_not_read(broker: Broker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt_io, "MAX_HELD", 20)
    link = await opened(broker)
    with Somebody(broker) as somebody:
        for index in range(60):
            await somebody.say("a/up", b"%d" % index)
        await asyncio.sleep(0.3)
        assert len(link._received) == 20
        found = await packets(link, 60)
        await link.close()
    assert [int(packet.payload) for packet in found] == list(range(60))


async def test_more_than_can_be_held_waits_in_the_broker_for_a_host_that_was_away_and_all_of_it_comes(
    broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It came before the grant, which nobody waited for any longer: the host tried again for ever, in vain."""
    await (await opened(broker)).close()
    with Somebody(broker) as somebody:
        for number in range(100):
            await somebody.say("a/up", b"%d" % number)
    monkeypatch.setattr(mqtt_io, "MAX_HELD", 20)
    link = await opened(broker)
    found = await packets(link, 100)
    await link.close()
    assert [int(packet.payload) for packet in found] == list(range(100))


async def test_no_broker_and_a_hung_one_are_told_apart(tmp_path: Path, broker: Broker) -> None:
    absent = Broker(tmp_path / "absent")
    with pytest.raises(LinkError, match="no broker answers"):
        await opened(absent)
    broker.freeze()
    with pytest.raises(LinkError, match="did not answer within 1 s"):
        await BrokerIO.open(access(broker), "host1", ("a",), WILL, time.monotonic_ns, limit_s=1.0)
    broker.thaw()


async def test_an_unreadable_password_is_told_and_can_be_mended(broker: Broker, tmp_path: Path) -> None:
    wanted = bench_file.Broker(broker.host, broker.port, user="u", password_file="word")  # noqa: S106 a file's name
    with pytest.raises(BrokerRefusedError, match="no such password file"):
        await BrokerIO.open(BrokerAccess(wanted, tmp_path, {}), "host1", ("a",), WILL, time.monotonic_ns)
    (tmp_path / "word").write_text("x")
    await (await BrokerIO.open(BrokerAccess(wanted, tmp_path, {}), "host1", ("a",), WILL, time.monotonic_ns)).close()


async def test_a_connection_can_be_closed_while_the_broker_hangs(broker: Broker) -> None:
    link = await opened(broker)
    broker.freeze()
    began_s = time.monotonic()
    link.acknowledge([1])
    await link.close()
    assert time.monotonic() - began_s < 3.0
    broker.thaw()
