"""A device and its sender on MicroPython, over a link that breaks when it is told to, with a host that acknowledges."""

import binascii
import json
import sys

from device import Channel, Device
from sender import Sender
from wire_cbor import MAX_NESTING, _Reader, encode
from wire_messages import BRIDGE_COUNTS, FLAT, seal, unseal

STEP_US = 20_000
JITTER_US = (0, 700, 1300, 300)


def tell(**line) -> None:
    sys.stdout.write(json.dumps(line) + "\n")


class Lock:
    """Sees to it that it is never taken twice: a thread would wait for itself."""

    def __init__(self):
        self.taken = False

    def __enter__(self):
        if self.taken:
            raise RuntimeError("the lock is taken by its own thread")
        self.taken = True

    def __exit__(self, *what):
        self.taken = False


class Host:
    """Keeps samples in order, and acknowledges them."""

    def __init__(self, acknowledges: bool):
        self.wanted = {}
        self.says = []
        self._acknowledges = acknowledges
        self._boot = 0
        self._fresh = False

    def take(self, packet: bytes) -> None:
        body = unseal(packet)
        reader = _Reader(body)
        while reader.at < len(body):
            self._take_message(reader.item(MAX_NESTING))

    def _take_message(self, message: dict) -> None:
        if message[0] == 1:
            self._boot = message[1]
        elif message[0] == 2:
            stream, first = message[2], message[3]
            size = 4 if message[7].tag == 78 else 2
            next_seq = self.wanted.get(stream, 0)
            if first <= next_seq or message[8] > next_seq:
                self.wanted[stream] = max(next_seq, first + len(message[7].item) // size)
                self._fresh = True

    def acknowledge(self) -> None:
        if self._fresh and self._acknowledges:
            self.says.append(seal(encode({0: 21, 1: self._boot, 2: dict(self.wanted)})))
            self._fresh = False


class Link:
    """Breaks in the times given; a message that breaks it in its middle has arrived all the same, or not, by turns."""

    def __init__(self, host: Host, breaks: list):
        self.us = 0
        self._host = host
        self._breaks = breaks
        self._arrives = False

    def is_broken(self) -> bool:
        return any(start <= self.us < stop for start, stop in self._breaks)

    def open(self) -> None:
        tell(us=self.us, opened=not self.is_broken())
        if self.is_broken():
            raise OSError("no way")

    def close(self) -> None:
        tell(us=self.us, closed=True)

    def publish(self, topic: str, packet: bytes, retain: bool) -> None:
        broken = self.is_broken()
        self._arrives = not self._arrives if broken else True
        if self._arrives:
            tell(us=self.us, topic=topic, packet=binascii.hexlify(packet).decode(), retain=retain)
            if topic == "up":
                self._host.take(packet)
        if broken:
            raise OSError("gone")

    def received(self) -> list:
        if self.is_broken() and self.us % 60_000 == 0:
            raise OSError("gone")
        says, self._host.says = self._host.says, []
        return says


def convert(device: Device, mass: Channel, flame: Channel, us: int) -> None:
    """Give the device a reading of each channel, and tell those that it takes."""
    conversion = us // 100_000
    at_us = us + JITTER_US[conversion % 4]
    flame_faults = int(conversion % 50 == 0)
    for channel, raw, faults in ((mass, 90_000 - conversion, 0), (flame, conversion % 8000, flame_faults)):
        before = channel.ring.taken
        device.put(channel, at_us, raw, faults)
        if channel.ring.taken > before:
            tell(taken=channel.stream, seq=before, us=at_us, raw=raw, faults=faults)


def run(plan: dict) -> None:
    mass = Channel(0, "mass", BRIDGE_COUNTS, 0.0024, 32, 100_000, 100_000, plan["ring_s"], zero=84213)
    flame = Channel(3, "flame", FLAT, 0.25, 16, 100_000, 250_000, plan["ring_s"])
    device = Device("esp-1", "mp-test", plan["boot"], [mass, flame], 1_000_000, Lock())
    host = Host(plan["acknowledges"])
    link = Link(host, plan["breaks"])
    sender = Sender(device, link)
    said = [(at_us, binascii.unhexlify(packet)) for at_us, packet in plan["said"]]
    us, end_us = plan["start_us"], plan["start_us"] + plan["for_us"]
    while us < end_us:  # range() ends at 2^31 here
        link.us = us
        if us % 100_000 == 0:
            convert(device, mass, flame, us)
        while said and said[0][0] <= us:
            host.says.append(said.pop(0)[1])
        if us % 500_000 == 0:
            host.acknowledge()
        sender.step(us)
        us += STEP_US
    tell(wanted=[[stream, host.wanted[stream]] for stream in host.wanted], waiting=mass.ring.waiting)


with open("/data.json") as file:  # noqa: PTH123 a board has no pathlib
    run(json.load(file))
