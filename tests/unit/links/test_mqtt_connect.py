"""How a broker is reached; what a connection does afterwards is in `test_mqtt_io`."""

from pathlib import Path

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from broker_fixture import Broker, free_port
from emberline.bench import bench_file
from emberline.config import BrokerAccess
from emberline.links.errors import LinkError
from emberline.links.mqtt_connect import connect
from emberline.links.mqtt_messages import Letter
from emberline.links.mqtt_refusals import BrokerRefusedError


def client() -> paho.Client:
    return paho.Client(CallbackAPIVersion.VERSION2, "host1", protocol=MQTTProtocolVersion.MQTTv5, manual_ack=True)


def test_a_socket_is_open_once_the_broker_is_reached(broker: Broker) -> None:
    one = client()
    connect(one, BrokerAccess(bench_file.Broker(broker.host, broker.port), Path(), {}), Letter("gone", b"x"))
    assert one.socket() is not None
    one.disconnect()


def test_nobody_at_that_place_and_an_unreadable_password_are_told_apart(tmp_path: Path) -> None:
    port = free_port()
    with pytest.raises(LinkError, match="no broker answers"):
        connect(client(), BrokerAccess(bench_file.Broker("127.0.0.1", port), tmp_path, {}), None)
    wanted = bench_file.Broker("127.0.0.1", port, user="u", password_file="word")  # noqa: S106 a file's name
    with pytest.raises(BrokerRefusedError, match="no such password file"):
        connect(client(), BrokerAccess(wanted, tmp_path, {}), None)
