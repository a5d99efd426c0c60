"""The link against a real broker with a simulated microcontroller behind it, both at once, sixty times as fast."""

import asyncio
import itertools
import json
import random
import subprocess
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from broker_fixture import Broker
from emberline.bench import bench_file
from emberline.config import BrokerAccess
from emberline.links.arrivals import Greeting, Lost, Restart
from emberline.links.link import LinkState
from emberline.links.mqtt import MqttLink
from emberline.links.pauses import Pauses
from emberline_sim.broker_port import BrokerPlace, BrokerPort
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.faults import Fault, FaultKind, Mischief
from emberline_sim.hookup import BrokerHookup
from emberline_wire import Identify, decode_message, unseal
from fast_clock import FastClock
from link_fixture import Host, running, wired
from live_fixture import end_worker_threads, until

SPEED = 20.0


@pytest.fixture(autouse=True)
async def no_worker_left() -> AsyncIterator[None]:
    yield
    await end_worker_threads()


class Bench:
    """A device behind a broker, stepped by a task of this test's loop."""

    def __init__(
        self, broker: Broker, *faults: Fault, device: str = "dev", ring_s: float = 8.0 * SPEED, speed: float = SPEED
    ) -> None:
        converters, blocks = wired()
        spec = DeviceSpec(device=device, ring_s=ring_s)
        self.device = Microcontroller(spec, converters, blocks, itertools.count(1))
        self.port = BrokerPort(BrokerPlace(broker.host, broker.port), "yard", device)
        self._hookup = BrokerHookup(self.device, self.port, Mischief(faults, seed=1))
        self._speed = speed

    @property
    def done(self) -> bool:
        """Whether everything it had to send is acknowledged."""
        return self.device.exhausted and not self.device.waiting

    async def run(self) -> None:
        began_s = time.monotonic()
        try:
            while True:
                self._hookup.step((time.monotonic() - began_s) * self._speed)
                if self.device.exhausted:
                    self.device.finish()
                await asyncio.sleep(0.002)
        finally:
            self.port.leave()


def access_to(broker: Broker, **options: Any) -> BrokerAccess:
    environment = options.pop("environment", {})
    wanted = bench_file.Broker(host=options.pop("host", broker.host), port=broker.port, **options)
    return BrokerAccess(wanted, broker.folder, environment)


def link_to(broker: Broker, **options: Any) -> MqttLink:
    access = options.pop("access", None) or access_to(broker)
    clock = options.pop("clock", None) or FastClock(SPEED)
    pauses = Pauses(2.0, chance=random.Random(1))
    return MqttLink(access, "yard", clock, name=options.pop("name", "host1"), pauses=pauses, **options)


def whole(host: Host) -> None:
    """Check that every sample came once and in order."""
    assert host.numbers("mass") == list(range(600))
    assert host.numbers("water") == list(range(240))
    assert not [one for one in host.arrivals if isinstance(one, Lost)]


async def test_every_sample_of_every_stream_arrives_once_and_in_order(broker: Broker) -> None:
    bench, link = Bench(broker), link_to(broker)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.done, "the last acknowledgement")
        assert (link.state.name, link.trouble) == ("STREAMING", "")
    whole(host)
    greeting = next(one for one in host.arrivals if isinstance(one, Greeting))
    assert greeting.device == "dev"
    assert link.state.name == "CLOSED"
    assert np.allclose(np.diff(host.times_s("mass")), 0.1, atol=5e-3)


async def test_a_device_that_loses_its_connection_sends_what_it_kept(broker: Broker) -> None:
    bench = Bench(broker, Fault(FaultKind.UNPLUG, 20.0, 26.0))
    link = link_to(broker)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.done, "the last acknowledgement")
    whole(host)


async def test_a_reboot_is_told_and_its_samples_are_kept_apart(broker: Broker) -> None:
    bench = Bench(broker, Fault(FaultKind.REBOOT, 30.0, 30.0))
    link = link_to(broker)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.done, "the last acknowledgement")
    restart = next(one for one in host.arrivals if isinstance(one, Restart))
    assert (restart.old_boot, restart.boot) == (1, 2)
    assert len(host.numbers("mass", 1)) > 200


@pytest.mark.parametrize("remembers", [False, True])
async def test_a_broker_that_restarts_costs_nothing(tmp_path: Path, remembers: bool) -> None:
    broker = Broker(tmp_path / "broker", persistence=remembers)
    broker.start()
    bench, link = Bench(broker), link_to(broker)
    host = Host(link)
    try:
        async with running(bench.run, lambda: link.run(host.take)):
            await until(lambda: len(host.numbers("mass")) > 100, "some samples")
            broker.stop()
            await until(lambda: link.state is LinkState.WAITING, "the loss to be noticed")
            broker.start()
            await until(lambda: bench.done, "the last acknowledgement")
    finally:
        broker.kill()
    whole(host)


async def test_a_broker_absent_at_the_start_is_waited_for(tmp_path: Path) -> None:
    broker = Broker(tmp_path / "broker")
    bench, link = Bench(broker), link_to(broker)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: "no broker answers" in link.trouble, "the trouble")
        broker.start()
        try:
            await until(lambda: bench.done, "the last acknowledgement")
        finally:
            broker.kill()
    whole(host)


async def test_what_came_while_the_host_was_away_is_taken_in_without_a_new_hello(broker: Broker) -> None:
    """The ring of the device is far too short for the pause: all of it comes from the broker."""
    # A second of real time all the same: a busy machine holds up the device for as long as a shorter one lasts.
    bench, first = Bench(broker, ring_s=20.0), link_to(broker)
    kept: list[dict[str, Any] | None] = []
    first._remember = lambda _, standing: kept.append(standing())
    host = Host(first)
    async with running(bench.run):
        async with running(lambda: first.run(host.take)):
            await until(lambda: len(host.numbers("mass")) > 100, "some samples")
        await until(lambda: bench.device._life.rings["mass"].taken > 450, "the host to have been away for long")
        second = link_to(broker, standing=json.loads(json.dumps(kept[-1])))
        host.link = second
        async with running(lambda: second.run(host.take)):
            await until(lambda: bench.done, "the last acknowledgement")
    whole(host)
    assert np.allclose(np.diff(host.times_s("mass")), 0.1, atol=5e-3)


async def test_what_is_not_stored_is_not_acknowledged_and_comes_again(broker: Broker) -> None:
    bench, first = Bench(broker, ring_s=20.0), link_to(broker)
    host = Host(first)
    kept: list[dict[str, Any] | None] = []
    first._remember = lambda _, standing: kept.append(standing())
    async with running(bench.run):
        async with running(lambda: first.run(host.take)):
            await until(lambda: len(host.numbers("mass")) > 100, "some samples")
            host.storing = False
            await until(lambda: bench.device._life.rings["mass"].taken > 450, "readings that are not stored")
        # What was handed on and not stored is gone, as with a program that is killed.
        host._waiting.clear()
        second = link_to(broker, standing=kept[-1])
        host.link, host.storing = second, True
        async with running(lambda: second.run(host.take)):
            await until(lambda: bench.done, "the last acknowledgement")
    whole(host)


async def test_another_device_on_the_topic_is_refused(broker: Broker) -> None:
    bench = Bench(broker, device="stranger")
    link = link_to(broker, access=access_to(broker, device="dev"))
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: link.state is LinkState.REFUSED, "the refusal")
        await until(lambda: "stranger" in link.trouble, "its reason")
    assert host.arrivals == []


class Publisher:
    """Somebody else on the broker."""

    def __init__(self, broker: Broker, name: str = "somebody") -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, name, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.connect(broker.host, broker.port)

    def __enter__(self) -> "Publisher":
        self._client.loop_start()
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes, **options: Any) -> None:
        content = options.pop("content", None)
        properties = None
        if content is not None:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.ContentType = content
        self._client.publish(
            topic, payload, qos=options.pop("qos", 1), properties=properties, **options
        ).wait_for_publish(5.0)


async def test_junk_of_every_kind_is_counted_and_harms_nothing(broker: Broker) -> None:
    bench, link = Bench(broker), link_to(broker)
    host = Host(link)
    rng = random.Random(5)
    with Publisher(broker) as somebody:
        async with running(bench.run, lambda: link.run(host.take)):
            await until(lambda: len(host.numbers("mass")) > 50, "some samples")
            junk = [b"", b"\0", b"{}", rng.randbytes(300), rng.randbytes(100_000), bytes(300_000), "grün".encode()]
            for payload in junk:
                await asyncio.to_thread(somebody.publish, "emberline/v1/yard/up", payload)
            await until(lambda: link.discarded >= len(junk) - 1, "the junk to be counted")
            await until(lambda: bench.done, "the last acknowledgement")
            assert link._frames.claims.due() == []
            assert len(link._frames.claims) == 0
    whole(host)
    # The largest is more than a broker may hand on, and is not delivered at all.
    assert link.discarded == len(junk) - 1


async def test_a_retained_frame_is_no_reading_of_now(broker: Broker) -> None:
    first = Bench(broker)
    old = None
    with Publisher(broker) as somebody:
        first.device.advance(5.0)
        while packet := first.device.next_packet():
            old = packet
        assert old is not None
        somebody.publish("emberline/v1/yard/up", old, retain=True)
    bench, link = Bench(broker), link_to(broker)
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: bench.done, "the last acknowledgement")
    whole(host)
    assert link.discarded == 1


async def test_a_wrong_password_is_told_with_what_to_do_and_never_shown(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    folder = tmp_path / "broker"
    folder.mkdir()
    account = ["mosquitto_passwd", "-b", "-c", str(folder / "accounts"), "ember", "s3cret"]
    await asyncio.to_thread(subprocess.run, account, check=True)
    broker = Broker(folder, more=f"allow_anonymous false\npassword_file {folder}/accounts\n")
    broker.start()
    try:
        (folder / "password").write_text("wr0ng-w0rd\n")
        access = access_to(broker, user="ember", password_file="password")  # noqa: S106 a file's name
        link = link_to(broker, access=access)
        async with running(lambda: link.run(Host(link).take)):
            await until(lambda: link.state is LinkState.TURNED_AWAY, "the refusal")
            assert "refuses user ember" in link.trouble
            assert "password_file" in link.trouble
            # Corrected while the program runs, the password is taken without a restart.
            (folder / "password").write_text("s3cret\n")
            await until(lambda: link.connected, "the connection")
    finally:
        broker.kill()
    assert "wr0ng" not in caplog.text + link.trouble + repr(access)
    assert "s3cret" not in caplog.text + link.trouble + repr(access)


CONNECTED = bytes.fromhex("2003000000")


@pytest.mark.parametrize(
    ("connack", "suback", "words"),
    [
        (CONNECTED, 0x87, "access list"),
        (CONNECTED, 0x00, "QoS 1"),
        (bytes.fromhex("2003008400"), None, "MQTT 5"),
        (bytes.fromhex("20020001"), None, "MQTT 5"),
        (bytes.fromhex("2003008800"), None, "refuses this program"),
        (b"", None, "hung up before it answered"),
        (b"HTTP/1.1 400 Bad Request", None, "hung up before it answered"),
    ],
    ids=[
        "topic denied",
        "no acknowledgements",
        "older protocol",
        "answer of an older protocol",
        "unavailable",
        "mute",
        "no broker",
    ],
)
async def test_a_broker_that_does_not_do_what_is_needed_is_told_apart(
    connack: bytes, suback: int | None, words: str
) -> None:
    """Answers as MQTT 5 writes them (OASIS standard of 7 March 2019, sections 3.2 and 3.9)."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(4096)
        writer.write(connack)
        if suback is not None:
            request = await reader.read(4096)
            writer.write(bytes([0x90, 5, *request[2:4], 0, suback, suback]))
            await reader.read(4096)
        writer.close()

    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    access = BrokerAccess(bench_file.Broker("127.0.0.1", port), Path(), {})
    link = MqttLink(access, "yard", FastClock(SPEED), name="host1")
    async with server, running(lambda: link.run(Host(link).take)):
        await until(lambda: words in link.trouble, f"{words!r}, not {link.trouble!r}")


async def test_a_frozen_broker_is_given_up_and_taken_up_again(broker: Broker) -> None:
    bench = Bench(broker, speed=4.0, ring_s=60.0)
    link = link_to(broker, clock=FastClock(1.0, slack_s=0.0))
    host = Host(link)
    async with running(bench.run, lambda: link.run(host.take)):
        await until(lambda: len(host.numbers("mass")) > 40, "some samples")
        broker.freeze()
        frozen_s = time.monotonic()
        await until(lambda: link.state is LinkState.STALE, "the link to be stale", 10.0)
        await until(lambda: link.state is LinkState.WAITING, "the connection to be given up", 15.0)
        assert time.monotonic() - frozen_s < 15.0
        broker.thaw()
        thawed_s, before = time.monotonic(), len(host.numbers("mass"))
        await until(lambda: len(host.numbers("mass")) > before, "new readings", 10.0)
        assert time.monotonic() - thawed_s < 5.0
        await until(lambda: bench.done, "the last acknowledgement")
    whole(host)


async def test_two_programs_of_one_name_do_not_fight_for_ever(broker: Broker) -> None:
    one, two = link_to(broker), link_to(broker)
    async with running(lambda: one.run(Host(one).take), lambda: two.run(Host(two).take)):
        await until(lambda: LinkState.TURNED_AWAY in (one.state, two.state), "one to stand back")
        back = one if one.state is LinkState.TURNED_AWAY else two
        assert "second Emberline" in back.trouble


async def test_published_documents_reach_others_and_are_confirmed(broker: Broker) -> None:
    link = link_to(broker, reads=False)
    heard: list[tuple[str, bytes, bool]] = []
    client = paho.Client(CallbackAPIVersion.VERSION2, "viewer")
    client.on_message = lambda _client, _data, message: heard.append(
        (message.topic, bytes(message.payload), message.retain)
    )
    client.connect(broker.host, broker.port)
    client.subscribe("emberline/v1/yard/#", qos=1)
    client.loop_start()
    done: list[str] = []
    try:
        async with running(lambda: link.run(Host(link).take)):
            await until(lambda: link.state is LinkState.STREAMING, "the connection")
            assert link.publish("summary", b"{}", retain=True, done=lambda: done.append("summary"))
            assert link.publish("live", b"[]", sure=False)
            await until(lambda: len(heard) == 2 and done == ["summary"], "the messages")
        assert ("emberline/v1/yard/summary", b"{}", False) in heard
        assert not link.publish("live", b"[]")
    finally:
        client.disconnect()
        client.loop_stop()


async def test_what_goes_to_the_device_needs_no_confirmation(broker: Broker) -> None:
    """PROTOCOL.md, section 9: what is lost of it is said again."""
    link = link_to(broker)
    heard: list[tuple[int, bytes]] = []
    client = paho.Client(CallbackAPIVersion.VERSION2, "device")
    client.on_message = lambda _client, _data, message: heard.append((message.qos, bytes(message.payload)))
    client.connect(broker.host, broker.port)
    client.subscribe("emberline/v1/yard/down", qos=1)
    client.loop_start()
    try:
        async with running(lambda: link.run(Host(link).take)):
            await until(lambda: bool(heard), "a question who is there")
    finally:
        client.disconnect()
        client.loop_stop()
    qos, packet = heard[0]
    assert qos == 0
    assert decode_message(unseal(packet)) == Identify()


async def test_when_the_program_vanishes_the_broker_says_so(broker: Broker) -> None:
    heard: list[bytes] = []
    client = paho.Client(CallbackAPIVersion.VERSION2, "viewer")
    client.on_message = lambda _client, _data, message: heard.append(bytes(message.payload))
    client.connect(broker.host, broker.port)
    client.subscribe("emberline/v1/yard/health", qos=1)
    client.loop_start()
    try:
        link = link_to(broker, reads=False, will=b"gone")
        async with running(lambda: link.run(Host(link).take)):
            await until(lambda: link.connected, "the connection")
            # A second one under the same name pushes it out, which is no good-bye.
            with Publisher(broker, "host1"):
                await until(lambda: heard == [b"gone"], "the last will")
    finally:
        client.disconnect()
        client.loop_stop()
