"""The simulated device's connection to an MQTT broker, without threads: `pump` moves it on."""

import contextlib
import select
import ssl
import time
from dataclasses import dataclass, field
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from emberline_sim.errors import PortError

KEEPALIVE_S = 5
CONNECT_LIMIT_S = 5.0
RETRY_S = 1.0
"""Time between attempts to connect, by the wall clock."""
MESSAGE_S = 7 * 86_400
"""Lifetime of a message; what is left of it tells a host how long it waited."""
WINDOW = 16
"""Messages that may be under way to the broker; a small controller keeps none of its own beside its ring."""


@dataclass(frozen=True, slots=True)
class BrokerPlace:
    """Where the broker is, and who the device is to it.

    Attributes:
        host: Name or address.
        port: TCP port.
        user: Account, or None.
        password: Its password, or None.
        ca_file: Certificate of the authority that vouches for the broker; with one the connection is encrypted.
    """

    host: str
    port: int
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: str | None = None


class BrokerPort:
    """A device's connection, made again by itself while plugged in.

    Attributes:
        connections: How many have been made.

    """

    def __init__(self, place: BrokerPlace, bench: str, device: str) -> None:
        self.connections = 0
        self._place = place
        self._topic = f"emberline/v1/{bench}/"
        self._device = device
        self._wanted = False
        self._client: paho.Client | None = None
        self._greeted = False
        self._under_way: set[int] = set()
        self._heard: list[bytes] = []
        self._retry_at_s = 0.0

    @property
    def room(self) -> int:
        """How many messages the connection takes now; 0 where there is none."""
        return WINDOW - len(self._under_way) if self._greeted else 0

    def plug(self) -> None:
        """Have a connection made and kept."""
        self._wanted = True

    def unplug(self) -> None:
        """Break the connection off without a good-bye."""
        self._wanted = False
        self._drop()

    def leave(self) -> None:
        """Say good-bye and end."""
        self._wanted = False
        if self._client is not None and self._greeted:
            self._client.publish(self._topic + "online", b"0", qos=1, retain=True)
            self._client.disconnect()
            self.pump()
        self._drop()

    def pump(self) -> None:
        """Connect if need be, and move on whatever is under way; never waits long."""
        if self._client is None and self._wanted and time.monotonic() >= self._retry_at_s:
            self._connect()
        client = self._client
        if client is None:
            return
        peer = client.socket()
        if peer is None:
            self._drop()
            return
        try:
            while client.socket() is not None and (_pending(peer) or select.select([peer], [], [], 0.0)[0]):
                client.loop_read()
            if client.socket() is not None and client.want_write():
                client.loop_write()
            if client.socket() is not None:
                client.loop_misc()
        except (OSError, ValueError):
            self._drop()

    def wait(self, at_most_s: float) -> None:
        """Wait until the broker has sent something, but no longer than `at_most_s`."""
        peer = None if self._client is None else self._client.socket()
        if peer is None:
            time.sleep(at_most_s)
        elif not _pending(peer):
            select.select([peer], [], [], at_most_s)

    def read(self) -> list[bytes]:
        """Return the packets that the host has sent."""
        self.pump()
        heard, self._heard = self._heard, []
        return heard

    def write(self, packet: bytes) -> None:
        """Send a packet to the host; lost where there is no connection."""
        self._publish("up", packet, retain=False)

    def keep_hello(self, packet: bytes) -> None:
        """Have the broker keep a hello for those who look for benches."""
        self._publish("hello", packet, retain=True)

    def _publish(self, name: str, packet: bytes, *, retain: bool) -> None:
        if self._client is None or not self._greeted:
            return
        properties = None
        if not retain:
            properties = _properties(PacketTypes.PUBLISH)
            properties.MessageExpiryInterval = MESSAGE_S
        sent = self._client.publish(self._topic + name, packet, qos=1, retain=retain, properties=properties)
        self._under_way.add(sent.mid)

    def _connect(self) -> None:
        place = self._place
        client = paho.Client(
            CallbackAPIVersion.VERSION2, f"emberline-device-{self._device}", protocol=MQTTProtocolVersion.MQTTv5
        )
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.connect_timeout = CONNECT_LIMIT_S
        client.will_set(self._topic + "online", b"0", qos=1, retain=True)
        client.username_pw_set(place.user, place.password)
        try:
            if place.ca_file is not None:
                client.tls_set_context(ssl.create_default_context(cafile=place.ca_file))
            client.connect(place.host, place.port, KEEPALIVE_S, clean_start=True)
        except FileNotFoundError as exc:
            raise PortError(f"there is no certificate {place.ca_file}") from exc
        except OSError:
            self._retry_at_s = time.monotonic() + RETRY_S
            return
        self._client = client

    def _drop(self) -> None:
        client, self._client = self._client, None
        self._greeted = False
        self._under_way.clear()
        self._heard.clear()
        self._retry_at_s = time.monotonic() + RETRY_S
        peer = None if client is None else client.socket()
        if peer is not None:
            with contextlib.suppress(OSError):
                peer.close()

    def _on_connect(self, client: paho.Client, _data: object, _flags: object, reason: Any, _props: object) -> None:
        if reason.is_failure:
            raise PortError(f"the broker refuses the device ({reason})")
        client.subscribe(self._topic + "down", qos=1)
        client.publish(self._topic + "online", b"1", qos=1, retain=True)
        self._greeted = True
        self.connections += 1

    def _on_message(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        self._heard.append(bytes(message.payload))

    def _on_publish(self, _client: paho.Client, _data: object, number: int, _reason: object, _props: object) -> None:
        self._under_way.discard(number)


def _pending(peer: object) -> bool:
    return isinstance(peer, ssl.SSLSocket) and peer.pending() > 0


def _properties(kind: int) -> Any:
    return Properties(kind)  # type: ignore[no-untyped-call]
