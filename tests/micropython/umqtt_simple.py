"""A stand-in for MicroPython's MQTT client: it says what is done to it, and fails when it is told to."""

import json
import sys

failures = {}
"""By the name of a call: what it raises the next time."""
inbox = []
"""Messages to come."""


class MQTTException(Exception):  # noqa: N818 the client's own name
    """The client's own complaint about an answer."""


def tell(*line) -> None:
    """Print a line of JSON."""
    sys.stdout.write(json.dumps(line) + "\n")


def _plain(what: object) -> object:
    return what.decode() if isinstance(what, bytes) else what


def _done(name: str, *what) -> None:
    tell(name, *[_plain(one) for one in what])
    if name in failures:
        raise failures.pop(name)


class Socket:
    """A socket that says how long it would wait."""

    def read(self, count: int) -> bytes:
        """Give nothing."""
        return b""

    def write(self, data: bytes) -> int:
        """Take all."""
        return len(data)

    def settimeout(self, seconds: float) -> None:
        """Say how long."""
        tell("wait", seconds)

    def close(self) -> None:
        """Say so."""
        tell("close")


class MQTTClient:
    """What the link uses of the client."""

    def __init__(self, name, server, port=0, user=None, password=None, keepalive=0):
        tell("client", name, server, port, user, password, keepalive)
        self.sock = None

    def set_last_will(self, topic, packet, retain=False, qos=0):
        """Note a last will."""
        tell("will", topic, _plain(packet), retain, qos)

    def set_callback(self, callback):
        """Keep who is to be given messages."""
        self._callback = callback

    def connect(self, clean, timeout=None):
        """Connect."""
        _done("connect", clean, timeout)
        self.sock = Socket()

    def subscribe(self, topic, qos=0):
        """Subscribe."""
        _done("subscribe", topic, qos)

    def publish(self, topic, packet, retain=False, qos=0):
        """Publish."""
        _done("publish", topic, packet, retain, qos)

    def check_msg(self):
        """Hand on what has come, as the client does: without waiting, and then waiting again."""
        self.sock.setblocking(False)
        while inbox:
            self._callback(b"topic", inbox.pop(0))
        self.sock.setblocking(True)
        if "check_msg" in failures:
            raise failures.pop("check_msg")
