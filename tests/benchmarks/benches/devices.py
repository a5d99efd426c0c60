"""The devices of many benches behind a broker, in one process and on one connection.

Usage: python -m benchmarks.benches.devices HOST:PORT BENCHES SECONDS BURNS

They are called `bench-0`, `bench-1` and so on. Each sends a second's samples as the protocol has it, one frame with all
streams, confirmed by the broker, at its own place within the second; answers pings, sends again what it is asked for,
and notes how long what it sent took to be acknowledged. At the end of the time they wait for the last
acknowledgements, and what they counted is written as JSON. What they do not do: sample, and send again unasked.
"""

import json
import select
import socket
import sys
import time
from collections import defaultdict, deque
from collections.abc import Sequence

import numpy as np

from benchmarks.benches import packets
from benchmarks.benches.burns import EACH, Burns, Group, groups
from emberline_wire import Ack, Identify, Ping, Pong, Resume, decode_message, seal, unseal
from emberline_wire.limits import U32_MAX

KEEPALIVE_S = 60
SLOTS = 20
"""Parts of a second; each bench has its own of them."""
PATIENCE_S = 30.0
"""How long the last acknowledgements are waited for."""
MINUTE_S = 60


class Devices:
    """Devices of benches that are numbered from 0."""

    def __init__(self, address: str, number: int, burns: Burns, spread_s: float) -> None:
        """Connect; `run` sends."""
        self._boot = 1 + time.time_ns() % 2**31
        self._hello, self._groups = groups(self._boot, burns, spread_s)
        self._topics = [f"emberline/v1/bench-{index}/".encode() for index in range(number)]
        self._under_way: list[deque[tuple[int, float]]] = [deque() for _ in range(number)]
        self._lags_s: defaultdict[int, list[float]] = defaultdict(list)
        self._acknowledged = [0] * number
        self._sent = self._resent = self._confirmed = self._packets = 0
        self._late_s = 0.0
        self._splitter = packets.Splitter()
        host, _, port = address.partition(":")
        self._socket = socket.create_connection((host, int(port)))
        self._socket.sendall(packets.connect("load", KEEPALIVE_S))
        self._socket.sendall(packets.subscribe(b"emberline/v1/+/down"))
        self._out = bytearray()
        self._start_s = time.monotonic()
        for index in range(number):
            self._greet(index)
            self._put(index, b"online", b"1", retain=True)
            self._put(index, b"hello", seal(self._hello.to_bytes()), retain=True)
        self._listen(0.0)

    def run(self, seconds: float) -> dict[str, object]:
        """Send at the real pace for so many seconds, and return what came of it."""
        self._start_s = time.monotonic()
        number = 0
        while number < seconds:
            made = [group.second(number) for group in self._groups]
            for slot in range(SLOTS):
                due_s = self._start_s + number + 1 + slot / SLOTS
                self._listen_until(due_s)
                self._late_s = max(self._late_s, time.monotonic() - due_s)
                for index in range(slot, len(self._topics), SLOTS):
                    second = made[index % len(made)]
                    self._put(index, b"up", second.packet)
                    self._under_way[index].append((second.next_seq, time.monotonic()))
                    self._sent += EACH * len(self._hello.channels)
            number += 1
        until_s = time.monotonic() + PATIENCE_S
        while any(self._under_way) and time.monotonic() < until_s:
            self._listen(0.1)
        return self._told()

    def _told(self) -> dict[str, object]:
        streams = len(self._hello.channels)
        return {
            "samples_sent": self._sent,
            "samples_acknowledged": sum(self._acknowledged) * streams,
            "samples_sent_again": self._resent,
            "packets_confirmed": self._confirmed,
            "packets_sent": self._packets,
            "late_s": self._late_s,
            "lag_s": [_percentiles(lags) for _, lags in sorted(self._lags_s.items())],
            "lag_all_s": _percentiles([lag for lags in self._lags_s.values() for lag in lags]),
            "samples_each": [EACH * streams],
        }

    def _greet(self, index: int) -> None:
        self._put(index, b"up", seal(self._hello.to_bytes()))

    def _put(self, index: int, name: bytes, payload: bytes, *, retain: bool = False) -> None:
        self._packets += 1
        properties = b"\x00" if retain else packets.EXPIRY
        number = 1 + self._packets % 65_535
        self._out += packets.publish(self._topics[index] + name, number, payload, properties, retain=retain)

    def _listen_until(self, due_s: float) -> None:
        while True:
            wait_s = due_s - time.monotonic()
            self._listen(max(0.0, wait_s))
            if wait_s <= 0.0:
                return

    def _listen(self, wait_s: float) -> None:
        """Send what is to be sent, and take in what has come within a time."""
        readable, writable, _ = select.select([self._socket], [self._socket] if self._out else [], [], wait_s)
        if writable:
            del self._out[: self._socket.send(self._out)]
        if readable:
            data = self._socket.recv(1 << 18)
            if not data:
                raise ConnectionError("the broker has hung up")
            now_s = time.monotonic()
            for one in self._splitter.feed(data):
                if one.kind == packets.PUBACK:
                    self._confirmed += 1
                elif one.kind == packets.PUBLISH:
                    self._obey(int(one.topic.split(b"/")[2].partition(b"-")[2]), one.payload, now_s)

    def _obey(self, index: int, packet: bytes, now_s: float) -> None:
        message = decode_message(unseal(packet))
        if isinstance(message, Ping):
            ticks = int((now_s - self._start_s) * 1e6) & U32_MAX
            self._put(index, b"up", seal(Pong(self._boot, message.time_ns, ticks).to_bytes()))
        elif isinstance(message, Identify):
            self._greet(index)
        elif (
            isinstance(message, Ack) and message.boot == self._boot and len(message.wanted) == len(self._hello.channels)
        ):
            wanted = self._acknowledged[index] = max(min(message.wanted.values()), self._acknowledged[index])
            under_way = self._under_way[index]
            while under_way and under_way[0][0] <= wanted:
                sent_s = under_way.popleft()[1]
                self._lags_s[int((sent_s - self._start_s) / MINUTE_S)].append(now_s - sent_s)
        elif isinstance(message, Resume) and message.boot == self._boot:
            self._send_again(index, message)

    def _send_again(self, index: int, message: Resume) -> None:
        group: Group = self._groups[index % len(self._groups)]
        sent = self._under_way[index][-1][0] if self._under_way[index] else self._acknowledged[index]
        for stream, wanted in message.wanted.items():
            place = [channel.id for channel in self._hello.channels].index(stream)
            for second in group.kept:
                if wanted < second.next_seq <= sent:
                    self._put(index, b"up", seal(second.samples[place]))
                    self._resent += EACH


def _percentiles(lags_s: Sequence[float]) -> list[float]:
    """Return the median, that of 99 of 100, and the longest; none of them ends where nothing was acknowledged."""
    return [float(one) for one in np.percentile(lags_s or [np.inf], [50, 99, 100])]


def main(address: str, number: str, seconds: str, burns: str) -> None:
    """Send, and write what came of it."""
    length_s = float(seconds)
    devices = Devices(address, int(number), Burns(burns), length_s / 2.0)
    json.dump(devices.run(length_s), sys.stdout)


if __name__ == "__main__":
    main(*sys.argv[1:])
