"""The broker's files in `deploy/broker`, on a real Mosquitto: a device may do what is its own, and nothing else."""

import asyncio
import json
import re
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from broker_fixture import Broker, mosquitto
from daemon_fixture import daemon_process
from live_fixture import end_worker_threads, until

DEPLOY = Path(__file__).parents[2] / "deploy" / "broker"
WORDS = {"emberline": "of-the-host", "yard": "of-the-yard", "shed": "of-the-shed"}
LIMIT_S = 20.0
ALL = ("up", "down", "hello", "online", "senml", "live", "event", "summary", "health")
ITS_OWN = ("up", "hello", "online", "senml")
REFUSED, FAILURE = 0x87, 0x80
"""Not authorized; the first of all codes of failure (MQTT 5, section 2.4)."""


class Account:
    """A client that connects under an account, and puts down what it is sent."""

    def __init__(self, broker: Broker, user: str, word: str | None) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.answer: ReasonCode | None = None
        self._news = threading.Condition()
        self._puback: dict[int, ReasonCode] = {}
        self.client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        if word is not None:
            self.client.username_pw_set(user, word)
        self.client.on_connect = self._connected
        self.client.on_message = self._message
        self.client.on_publish = self._published
        self.client.on_subscribe = self._subscribed
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()
        self._until(lambda: self.answer is not None, "an answer")

    def _told(self, change: object) -> None:
        del change
        with self._news:
            self._news.notify_all()

    def _connected(self, _c: paho.Client, _d: object, _f: object, reason: ReasonCode, _p: object) -> None:
        self.answer = reason
        self._told(reason)

    def _message(self, _c: paho.Client, _d: object, message: paho.MQTTMessage) -> None:
        self.heard.append((message.topic, bytes(message.payload)))
        self._told(message)

    def _published(self, _c: paho.Client, _d: object, number: int, reason: ReasonCode, _p: object) -> None:
        self._puback[number] = reason
        self._told(reason)

    def _subscribed(self, _c: paho.Client, _d: object, number: int, reasons: list[ReasonCode], _p: object) -> None:
        self._puback[number] = reasons[0]
        self._told(reasons)

    def _until(self, condition: Callable[[], bool], what: str) -> None:
        with self._news:
            assert self._news.wait_for(condition, LIMIT_S), f"waited in vain for {what}"

    def publish(self, topic: str, payload: bytes) -> int:
        """Publish, and return the broker's answer."""
        number = self.client.publish(topic, payload, qos=1).mid
        self._until(lambda: number in self._puback, f"the answer about {topic}")
        return int(self._puback[number].value)

    def subscribe(self, topic: str) -> None:
        """Ask for a topic; what comes is another question."""
        _, number = self.client.subscribe(topic, options=SubscribeOptions(qos=1))
        assert number is not None
        self._until(lambda: number in self._puback, f"the answer about {topic}")

    def until_heard(self, topic: str, payload: bytes) -> None:
        self._until(lambda: (topic, payload) in self.heard, topic)

    def end(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """A broker with the project's own files, but for its port and where they lie."""
    mosquitto()  # skips where there is none, nor the program that makes accounts
    folder = tmp_path / "broker"
    folder.mkdir()
    accounts, access = folder / "accounts", folder / "access"
    accounts.touch(0o600)
    access.write_text((DEPLOY / "emberline.acl").read_text())
    access.chmod(0o600)
    text = (DEPLOY / "emberline.conf").read_text()
    text, ports = re.subn(r"^listener 1883$", "", text, flags=re.MULTILINE)
    assert ports == 1
    lines = [line for line in text.splitlines() if not line.startswith(("autosave_", "max_", "#"))]
    more = "\n".join(lines)
    for name, ours in (("emberline.accounts", accounts), ("emberline.acl", access)):
        assert f"/etc/mosquitto/{name}" in more
        more = more.replace(f"/etc/mosquitto/{name}", str(ours))
    one = Broker(folder, more=f"{more}\n")
    for user, word in WORDS.items():
        subprocess.run(["mosquitto_passwd", "-b", str(accounts), user, word], check=True, timeout=20)
    one.start()
    yield one
    one.kill()


@pytest.fixture
def accounts(guarded: Broker) -> Iterator[dict[str, Account]]:
    found = {user: Account(guarded, user, word) for user, word in WORDS.items()}
    yield found
    for one in found.values():
        one.end()


def test_nobody_comes_in_without_an_account(guarded: Broker) -> None:
    for user, word in (("", None), ("yard", WORDS["shed"]), ("yard", ""), ("barn", "x"), ("+", "x"), ("#", "x")):
        one = Account(guarded, user, word)
        assert one.answer is not None
        assert one.answer.is_failure, user
        one.end()


def test_a_device_sends_what_is_its_own_and_nothing_else(accounts: dict[str, Account]) -> None:
    host, yard = accounts["emberline"], accounts["yard"]
    host.subscribe("emberline/v1/#")
    others = [f"emberline/v1/shed/{name}" for name in ALL] + [f"emberline/v1/emberline/{name}" for name in ALL]
    others += [f"emberline/v1/yard/{name}" for name in ALL if name not in ITS_OWN]
    others += [
        "emberline/v1/yard",
        "emberline/v1/yard/up/more",
        "emberline/v2/yard/up",
        "emberline/v1//up",
        "elsewhere",
    ]
    for topic in others:
        assert yard.publish(topic, b"not mine") == REFUSED, topic
    for name in ITS_OWN:
        assert yard.publish(f"emberline/v1/yard/{name}", b"mine") < FAILURE, name
    host.until_heard(f"emberline/v1/yard/{ITS_OWN[-1]}", b"mine")
    assert sorted(host.heard) == sorted((f"emberline/v1/yard/{name}", b"mine") for name in ITS_OWN)


def test_a_device_hears_its_own_commands_and_nothing_else(accounts: dict[str, Account]) -> None:
    host, yard, shed = accounts["emberline"], accounts["yard"], accounts["shed"]
    for topic in ("#", "emberline/#", "emberline/v1/+/down", "emberline/v1/shed/down", "emberline/v1/+/up", "$SYS/#"):
        yard.subscribe(topic)
    yard.subscribe("emberline/v1/yard/down")
    assert shed.publish("emberline/v1/shed/up", b"a reading") < FAILURE
    for bench in ("shed", "yard"):
        for name in ALL:
            if (bench, name) != ("yard", "down"):
                assert host.publish(f"emberline/v1/{bench}/{name}", b"not yours") < FAILURE
    assert host.publish("emberline/v1/yard/down", b"yours") < FAILURE
    yard.until_heard("emberline/v1/yard/down", b"yours")
    assert {(topic, payload) for topic, payload in yard.heard} == {("emberline/v1/yard/down", b"yours")}


def test_the_host_hears_and_tells_of_every_bench(accounts: dict[str, Account]) -> None:
    host, yard, shed = accounts["emberline"], accounts["yard"], accounts["shed"]
    host.subscribe("emberline/v1/+/up")
    for device, bench in ((yard, "yard"), (shed, "shed")):
        device.subscribe(f"emberline/v1/{bench}/down")
        assert device.publish(f"emberline/v1/{bench}/up", b"frame") < FAILURE
        host.until_heard(f"emberline/v1/{bench}/up", b"frame")
        assert host.publish(f"emberline/v1/{bench}/down", b"ack") < FAILURE
        device.until_heard(f"emberline/v1/{bench}/down", b"ack")
        for name in ("live", "event", "summary", "health"):
            assert host.publish(f"emberline/v1/{bench}/{name}", b"{}") < FAILURE


@pytest.mark.timeout(120)
async def test_a_device_and_the_service_meet_under_their_accounts(guarded: Broker, tmp_path: Path) -> None:
    (tmp_path / "yard.toml").write_text(
        'id = "yard"\n[[channel]]\nrole = "water"\n[[channel]]\nrole = "mass"\n'
        f'[mqtt]\nhost = "{guarded.host}"\nport = {guarded.port}\nuser = "emberline"\npassword_file = "word"\n'
    )
    (tmp_path / "word").write_text(WORDS["emberline"])
    options = ("--bench", str(tmp_path / "yard.toml"), "--no-http")
    host = await asyncio.to_thread(Account, guarded, "emberline", WORDS["emberline"])
    yard = await asyncio.to_thread(Account, guarded, "yard", WORDS["yard"])
    try:
        await asyncio.to_thread(host.subscribe, "emberline/v1/yard/live")
        async with daemon_process(tmp_path / "data", *options) as daemon:
            await daemon.answers()
            for second in range(200):
                pack = [{"bn": "board/", "bt": time.time(), "n": "water", "u": "Cel", "v": 20.0 + 0.1 * second}]
                await asyncio.to_thread(yard.publish, "emberline/v1/yard/senml", json.dumps(pack).encode())
                if await daemon.stored() >= 3:
                    break
                await asyncio.sleep(0.1)
            assert await daemon.stored() >= 3
            await until(lambda: bool(host.heard), "what the service tells of the bench", 30.0)
        assert WORDS["emberline"] not in daemon.log.read_text()
    finally:
        for one in (host, yard):
            await asyncio.to_thread(one.end)
        await end_worker_threads()


def test_every_topic_of_the_protocol_has_somebody_who_may_write_it() -> None:
    protocol = (DEPLOY.parents[1] / "firmware_protocol" / "PROTOCOL.md").read_text()
    topics = re.findall(r"^\| `emberline/v1/<bench>/(\w+)` \| ([\w ]+) \|", protocol, re.MULTILINE)
    assert len(topics) >= 9
    written = set(
        re.findall(r"^pattern write emberline/v1/%u/(\w+)$", (DEPLOY / "emberline.acl").read_text(), re.MULTILINE)
    )
    assert written == {name for name, whose in topics if "device" in whose}
