"""The simulated device's connection to a broker, against a real one."""

import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from broker_fixture import Broker
from emberline_sim.broker_port import MESSAGE_S, WINDOW, BrokerPlace, BrokerPort
from emberline_sim.errors import PortError


def port_on(broker: Broker, **options: str) -> BrokerPort:
    return BrokerPort(BrokerPlace(broker.host, broker.port, **options), "yard", "dev")


def pump_until(port: BrokerPort, condition: Callable[[], bool], what: str) -> None:
    deadline_s = time.monotonic() + 10.0
    while not condition():
        assert time.monotonic() < deadline_s, f"waited in vain for {what}"
        port.pump()
        port.wait(0.01)


class Listener:
    """Hears a bench's topics."""

    def __init__(self, broker: Broker) -> None:
        self.heard: list[paho.MQTTMessage] = []
        self.client = paho.Client(CallbackAPIVersion.VERSION2, "listener", protocol=MQTTProtocolVersion.MQTTv5)
        self.client.on_message = lambda _client, _data, message: self.heard.append(message)
        self.client.connect(broker.host, broker.port)
        self.client.subscribe("emberline/v1/yard/#", qos=1)
        self.client.loop_start()

    def payloads(self, name: str) -> list[bytes]:
        return [bytes(one.payload) for one in self.heard if one.topic.endswith(f"/{name}")]

    def __enter__(self) -> "Listener":
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def test_packets_go_both_ways_and_live_for_a_week(broker: Broker) -> None:
    port = port_on(broker)
    with Listener(broker) as listener:
        assert port.room == 0
        port.write(b"lost: there is no connection")
        port.plug()
        pump_until(port, lambda: port.connections == 1, "the connection")
        port.write(b"frame")
        port.keep_hello(b"hello")
        assert port.room == WINDOW - 2
        pump_until(port, lambda: len(listener.heard) == 3 and port.room == WINDOW, "what was sent")
        assert listener.payloads("up") == [b"frame"]
        (frame,) = (one for one in listener.heard if one.topic.endswith("/up"))
        assert MESSAGE_S - 2 <= frame.properties.MessageExpiryInterval <= MESSAGE_S  # type: ignore[union-attr]
        heard: list[bytes] = []
        listener.client.publish("emberline/v1/yard/down", b"ping", qos=1)

        def hear() -> bool:
            heard.extend(port.read())
            return bool(heard)

        pump_until(port, hear, "the host's packet")
        assert heard == [b"ping"]
        port.leave()
        pump_until(port, lambda: listener.payloads("online") == [b"1", b"0"], "the good-bye")


def test_a_connection_broken_off_is_told_by_the_broker_and_made_again(broker: Broker) -> None:
    port = port_on(broker)
    with Listener(broker) as listener:
        port.plug()
        pump_until(port, lambda: port.connections == 1, "the connection")
        pump_until(port, lambda: listener.payloads("online") == [b"1"], "the sign of life")
        port.unplug()
        assert port.room == 0
        pump_until(port, lambda: listener.payloads("online") == [b"1", b"0"], "the last will")
        port.plug()
        pump_until(port, lambda: port.connections == 2, "the second connection")
        port.unplug()


def test_a_broker_that_is_away_is_tried_again(tmp_path: Path) -> None:
    broker = Broker(tmp_path / "broker")
    port = port_on(broker)
    port.plug()
    for _ in range(3):
        port.pump()
    assert port.connections == 0
    broker.start()
    try:
        pump_until(port, lambda: port.connections == 1, "the connection")
        broker.kill()
        pump_until(port, lambda: port.room == 0, "the loss to be noticed")
        broker.start()
        pump_until(port, lambda: port.connections == 2, "the second connection")
    finally:
        port.unplug()
        broker.kill()


def test_a_refused_device_says_so(tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    folder.mkdir()
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(folder / "accounts"), "ember", "s3cret"], check=True)
    broker = Broker(folder, more=f"allow_anonymous false\npassword_file {folder}/accounts\n")
    broker.start()
    port = port_on(broker, user="ember", password="wrong")  # noqa: S106 that is what is tested
    try:
        port.plug()
        with pytest.raises(PortError, match="refuses the device"):
            pump_until(port, lambda: port.connections == 1, "the connection")
        assert "wrong" not in repr(BrokerPlace("h", 1, "u", "wrong"))
    finally:
        port.unplug()
        broker.kill()


def test_a_missing_certificate_is_named(broker: Broker) -> None:
    port = port_on(broker, ca_file="none.crt")
    port.plug()
    with pytest.raises(PortError, match=r"no certificate none\.crt"):
        port.pump()
