"""A link to the broker by Wi-Fi, with MicroPython's own `umqtt.simple` (MQTT 3.1.1)."""

import time

from umqtt.simple import MQTTClient, MQTTException

KEEPALIVE_S = 30
"""Longer than the time between two status messages: no pings of its own are needed."""
WIFI_LIMIT_MS = 10_000
SOCKET_LIMIT_S = 10
MAX_WAITING = 16


class _Limited:
    """A socket on which every wait has a limit: the client would wait for ever for what a dead link does not bring."""

    def __init__(self, sock):
        self.read = sock.read
        self.write = sock.write
        self.close = sock.close
        self._sock = sock
        self.setblocking(True)

    def setblocking(self, wait: bool) -> None:
        """Wait for a while, or not at all."""
        self._sock.settimeout(SOCKET_LIMIT_S if wait else 0)


class MqttLink:
    """What `Sender` asks for: topics of one bench, everything at QoS 1, and a last will."""

    def __init__(self, wifi, network, password, broker, port, bench, device, user, broker_password):
        self._wifi = wifi
        self._network = network
        self._password = password
        self._prefix = "emberline/v1/" + bench + "/"
        self._waiting = []
        self._client = MQTTClient(device, broker, port, user=user, password=broker_password, keepalive=KEEPALIVE_S)
        self._client.set_last_will(self._prefix + "online", b"0", retain=True, qos=1)
        self._client.set_callback(self._keep)

    def open(self) -> None:
        """Join the network if need be, connect with a clean start, and listen to the host."""
        self._join()
        self._waiting = []
        self._guarded(self._connect)

    def close(self) -> None:
        """Let go of the connection."""
        if self._client.sock is not None:
            self._client.sock.close()

    def publish(self, topic: str, packet: bytes, retain: bool) -> None:
        """Send a message and wait until the broker has confirmed it."""
        self._guarded(lambda: self._client.publish(self._prefix + topic, packet, retain, 1))

    def received(self) -> list:
        """Return the packets that have come from the host since the last call."""
        self._guarded(self._client.check_msg)
        packets, self._waiting = self._waiting, []
        return packets

    def _connect(self) -> None:
        self._client.connect(True, SOCKET_LIMIT_S)
        self._client.sock = _Limited(self._client.sock)
        self._client.subscribe(self._prefix + "down", 1)

    def _keep(self, topic: bytes, packet: bytes) -> None:
        if len(self._waiting) < MAX_WAITING:
            self._waiting.append(packet)

    def _join(self) -> None:
        if self._wifi.isconnected():
            return
        self._wifi.active(True)
        self._wifi.connect(self._network, self._password)
        start = time.ticks_ms()
        while not self._wifi.isconnected():
            if time.ticks_diff(time.ticks_ms(), start) > WIFI_LIMIT_MS:
                self._wifi.disconnect()
                raise OSError("no Wi-Fi within ten seconds")
            time.sleep_ms(50)

    def _guarded(self, do) -> None:
        try:
            do()
        except (MQTTException, IndexError, AssertionError) as broken:
            # The client's own complaints about an answer that it did not expect: begin anew.
            raise OSError(str(broken)) from broken
