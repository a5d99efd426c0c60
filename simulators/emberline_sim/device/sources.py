"""What a channel's converter will deliver, and when the microcontroller reads it."""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from emberline_sim.device.converters import Block, Converter
from emberline_wire import Channel


class Source:
    """One converter and its readings to come.

    Attributes:
        converter: The converter.

    """

    def __init__(self, converter: Converter) -> None:
        self.converter = converter
        self._period_us = converter.channel.period_us
        self._blocks: deque[Block] = deque()
        self._at = 0
        self._due_s = float("-inf")

    @property
    def channel(self) -> Channel:
        """Entry in the channel table, with the period now in force."""
        return replace(self.converter.channel, period_us=self._period_us)

    @property
    def exhausted(self) -> bool:
        """Whether no reading waits here."""
        return not self._blocks

    def set_period(self, period_us: int) -> None:
        """Read every `period_us`, or as often as the converter delivers."""
        self._period_us = max(period_us, self.converter.channel.period_us)

    def add(self, block: Block) -> None:
        """Take in readings to come."""
        self._blocks.append(block)

    def read(self, now_s: float, since_s: float, *, sampling: bool) -> Iterator[tuple[float, int, int]]:
        """Yield time, raw value and fault bits of the readings up to `now_s`; those before `since_s` nobody reads."""
        native_us = self.converter.channel.period_us
        while self._blocks:
            block = self._blocks[0]
            stop = int(np.searchsorted(block.t_s, now_s, side="right"))
            for i in range(self._at, stop):
                t_s = float(block.t_s[i])
                if not sampling or t_s < max(since_s, self._due_s):
                    continue
                if self._period_us > native_us:
                    self._due_s = t_s + (self._period_us - native_us / 2) * 1e-6
                yield t_s, int(block.raw[i]), int(block.faults[i])
            self._at = stop
            if stop < len(block):
                return
            self._blocks.popleft()
            self._at = 0


class Sources:
    """All sources of a device, fed from one run of blocks."""

    def __init__(self, converters: Sequence[Converter], blocks: Iterable[Block]) -> None:
        """Take the channels in the order of the table, and blocks ordered by the time of each one's first reading."""
        self.by_name = {converter.channel.name: Source(converter) for converter in converters}
        self._blocks = iter(blocks)
        self._next = next(self._blocks, None)

    @property
    def exhausted(self) -> bool:
        """Whether no reading is to come any more."""
        return self._next is None and all(source.exhausted for source in self.by_name.values())

    def pull(self, now_s: float) -> None:
        """Hand out the blocks that begin by `now_s`."""
        while self._next is not None and self._next.t_s[0] <= now_s:
            self.by_name[self._next.channel].add(self._next)
            self._next = next(self._blocks, None)
