"""What the devices send: one burn of an hour at 10 Hz, lit at different times in groups of benches.

All devices were switched on at the same moment and count alike, so that the frames of a second are the same bytes for
all benches of a group.
"""

from collections import deque
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from benchmarks.accuracy.pace import HZ, hour
from emberline_sim.device.converters import Block, Converter
from emberline_sim.device.wiring import wire
from emberline_wire import Channel, DeviceFlag, Hello, Kind, Message, Samples, Status, seal
from emberline_wire.limits import OFFSET_UNIT_US, U32_MAX

GROUPS = 16
EACH = int(HZ)
"""Samples of a stream in a second."""
JITTER = 0.03
"""Samples come up to so much of their spacing late, as those of the simulated device do."""
KEPT_S = 60
"""Seconds that a device can send again."""
BEFORE_LIT_S = 20
"""Seconds of the burn before its fuel is lit that an idle bench shows, again and again."""
STATUS_EVERY_S = 10
DEVICE = "dev"


class Burns(StrEnum):
    """Which benches burn."""

    IDLE = "idle"
    SPREAD = "spread"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class Second:
    """One second of a group.

    Attributes:
        packet: All that is sent in it, one frame.
        samples: The same samples by stream, to be sent again.
        next_seq: Number after the last sample of each stream.
    """

    packet: bytes
    samples: tuple[bytes, ...]
    next_seq: int


class Group:
    """Benches that burn alike."""

    def __init__(self, boot: int, streams: list[tuple[Channel, NDArray[np.generic]]], start_s: float) -> None:
        """Light the fuel at a moment; never, at infinity."""
        self._boot = boot
        self._streams = streams
        self._start_s = start_s
        self._dice = np.random.default_rng(11)
        self.kept: deque[Second] = deque(maxlen=KEPT_S)

    def second(self, number: int) -> Second:
        """Return the next second, the first of which is number 0."""
        bodies = [message.to_bytes() for message in self._messages(number)]
        made = Second(seal(b"".join(bodies)), tuple(bodies[: len(self._streams)]), EACH * (number + 1))
        self.kept.append(made)
        return made

    def _messages(self, number: int) -> list[Message]:
        into_s = number - self._start_s
        place = int(into_s) if into_s >= 0.0 else number % BEFORE_LIT_S
        late_us = self._dice.uniform(0.0, JITTER * 1e6 / HZ, EACH)
        at_us = (np.arange(EACH) * 1e6 / HZ + late_us - late_us[0]).astype(np.int64)
        ticks = (number * 1_000_000 + int(late_us[0])) & U32_MAX
        messages: list[Message] = [
            Samples(
                boot=self._boot,
                stream=channel.id,
                first_seq=EACH * number,
                ticks=ticks,
                values=np.asarray(codes[EACH * place : EACH * (place + 1)]),
                oldest_seq=EACH * max(0, number - KEPT_S + 1),
                offsets=np.rint(at_us / OFFSET_UNIT_US).astype(np.uint16),
            )
            for channel, codes in self._streams
        ]
        if number % STATUS_EVERY_S == 0:
            messages.append(Status(self._boot, ticks, DeviceFlag.SAMPLING, 0, 0, EACH * len(self._streams)))
        return messages


def groups(boot: int, burns: Burns, spread_s: float) -> tuple[Hello, list[Group]]:
    """Return how the devices greet, and the groups; where they burn, they are lit within so many seconds."""
    recording = hour()
    converters, blocks = wire(recording)
    streams = [
        (one.channel, codes)
        for one, codes in _coded(converters, list(blocks))
        if one.channel.kind != Kind.COLD_JUNCTION
    ]
    starts_s = {
        Burns.IDLE: [float("inf")] * GROUPS,
        Burns.SPREAD: [spread_s * number / GROUPS for number in range(GROUPS)],
        Burns.ALL: [0.0] * GROUPS,
    }[burns]
    hello = Hello(boot, DEVICE, "load-1", tuple(channel for channel, _ in streams), 0, 1000, 1000 * KEPT_S)
    return hello, [Group(boot, streams, start_s) for start_s in starts_s]


def _coded(converters: list[Converter], blocks: list[Block]) -> list[tuple[Converter, NDArray[np.generic]]]:
    return [
        (
            one,
            np.concatenate([block.raw for block in blocks if block.channel == one.channel.name]).astype(one.dtype),
        )
        for one in converters
    ]
