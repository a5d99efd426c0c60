"""The ESP32's device on MicroPython and the host's session, with a broker between them that keeps what comes."""

from collections import defaultdict

import numpy as np

from emberline_wire import Session
from emberline_wire.events import Event, Gap, Greeted, Readings
from emberline_wire.limits import OFFSET_UNIT_US
from micropython_fixture import MicroPython

STEP_US = 100_000
START_NS = 1_700_000_000 * 10**9
DRIFT = 1.0001
"""The device's clock runs fast by 100 ppm."""


class Tally:
    """What the host has stored.

    Attributes:
        raw, t_ns: Raw values and times, by stream.
        gaps: Gaps that the session gave up on.
        greetings: How often the device was greeted.
    """

    def __init__(self) -> None:
        self.raw = defaultdict[int, list[float]](list)
        self.t_ns = defaultdict[int, list[int]](list)
        self.gaps = 0
        self.greetings = 0

    def take(self, events: list[Event]) -> dict[int, int]:
        """Store what came, and return the sequence numbers wanted next."""
        wanted = {}
        for event in events:
            match event:
                case Readings():
                    assert event.first_seq == len(self.raw[event.channel.id])
                    self.raw[event.channel.id] += event.raw.tolist()
                    self.t_ns[event.channel.id] += event.t_ns.tolist()
                    wanted[event.channel.id] = event.next_seq
                case Gap():
                    self.gaps += 1
                case Greeted():
                    self.greetings += 1
        return wanted


def test_a_host_has_every_sample_in_time_though_the_network_breaks(micropython: MicroPython) -> None:
    session, tally = Session(), Tally()
    session.connected(START_NS)
    with micropython.talk("bench.py") as ask:
        for index in range(900):
            now_ns = START_NS + index * STEP_US * 1000
            says = [packet.hex() for packet in session.packets_to_send()]
            whole = not 200 <= index < 430 and not 600 <= index < 603
            us = round(index * STEP_US * DRIFT)
            for packet in ask({"us": us, "whole": whole, "says": says, "raw": index}):
                events = session.take(session.open_packet(bytes.fromhex(packet)), now_ns)
                session.committed(tally.take(events), 4_000_000_001)
            session.tick(now_ns)
    assert tally.gaps == 0
    assert tally.greetings >= 1
    every = {0: 1, 3: 2, 4: 10}
    for stream, shift in ((0, 0), (3, 1), (4, 2)):
        indices = np.array(tally.raw[stream]) - shift
        assert len(indices) >= 880 // every[stream]
        assert np.all(np.diff(indices) == every[stream])
        true_ns = START_NS + indices * STEP_US * 1000
        # PROTOCOL.md, section 7: half of the way there and back, which is one step here; half a step of the offsets.
        assert np.abs(np.array(tally.t_ns[stream]) - true_ns).max() <= STEP_US * 500 + OFFSET_UNIT_US * 500
