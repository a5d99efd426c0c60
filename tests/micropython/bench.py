"""A device and its sender on MicroPython, step by step with a host: a line of JSON in, a line of JSON out."""

import binascii
import json
import sys

import lines
from device import Channel, Device
from sender import Sender
from wire_messages import BRIDGE_COUNTS, COLD_JUNCTION, FLAT


class Lock:
    """None is needed in one thread."""

    def __enter__(self):
        pass

    def __exit__(self, *what):
        pass


class Link:
    """Hands messages to and fro while it is whole."""

    def __init__(self):
        self.is_whole = True
        self.inbox = []
        self.outbox = []

    def open(self) -> None:
        self._check()
        self.inbox = []

    def close(self) -> None:
        self.inbox = []

    def publish(self, topic: str, packet: bytes, retain: bool) -> None:
        self._check()
        if topic == "up":
            self.outbox.append(binascii.hexlify(packet).decode())

    def received(self) -> list:
        self._check()
        packets, self.inbox = self.inbox, []
        return packets

    def _check(self) -> None:
        if not self.is_whole:
            raise OSError("gone")


CHANNELS = (
    (Channel(0, "mass", BRIDGE_COUNTS, 0.0024, 32, 100_000, 100_000, 60), 0),
    (Channel(3, "flame", FLAT, 0.25, 16, 100_000, 200_000, 60), 1),
    (Channel(4, "flame_cj", COLD_JUNCTION, 0.0625, 16, 100_000, 1_000_000, 60, serves=3), 2),
)
device = Device("esp-1", "mp-test", 4_000_000_001, [channel for channel, _ in CHANNELS], 1_000_000, Lock())
link = Link()
sender = Sender(device, link)
line = lines.next()
while line:
    step = json.loads(line)
    link.is_whole = step["whole"]
    link.inbox.extend([binascii.unhexlify(packet) for packet in step["says"]])
    for channel, shift in CHANNELS:
        device.put(channel, step["us"], step["raw"] + shift, 0)
    sender.step(step["us"])
    sys.stdout.write(json.dumps(link.outbox) + "\n")
    link.outbox = []
    line = lines.next()
