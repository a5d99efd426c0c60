"""What links are tried with: a device's converters with codes of which none may be missing, and a host that stores."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Arrival, Lost
from emberline.links.link import Link
from emberline_sim.device.converters import Block, Converter, bridge, thermocouple

LENGTH_S = 60.0
"""How long a device has something to sample."""


def wired() -> tuple[list[Converter], Iterator[Block]]:
    """Return a load cell at 10 Hz and a thermocouple at 4 Hz whose codes are their sequence numbers."""
    converters = [bridge(0, "mass", 10.0, 419.0, 0), thermocouple(1, "water", 4.0, 0.25)]
    blocks = []
    for converter, rate_hz in zip(converters, (10.0, 4.0), strict=True):
        n = int(LENGTH_S * rate_hz)
        t_s = (np.arange(n) + 0.5) / rate_hz
        for part in np.array_split(np.arange(n), 12):
            raw = part.astype(np.int64)
            blocks.append(
                Block(converter.channel.name, t_s[part].astype(np.float64), raw, np.zeros(len(part), dtype=np.uint8))
            )
    return converters, iter(sorted(blocks, key=lambda block: float(block.t_s[0])))


class Host:
    """Stores what a link hands on, at once or after a while, as ingest would."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.arrivals: list[Arrival] = []
        self.storing = True
        self._waiting: list[Arrival] = []

    async def take(self, arrivals: list[Arrival]) -> None:
        self._waiting += arrivals
        if self.storing:
            self.store()

    def store(self) -> None:
        fresh, self._waiting = self._waiting, []
        self.arrivals += fresh
        for one in fresh:
            if isinstance(one, SampleBatch | Lost):
                self.link.committed(one.boot, {one.channel: one.next_seq})

    def numbers(self, channel: str, boot: int = 1) -> list[int]:
        """Return the numbers of the samples that arrived, each of which must carry its own as raw value."""
        found: list[int] = []
        for one in self.arrivals:
            if isinstance(one, SampleBatch) and (one.channel, one.boot) == (channel, boot):
                assert one.raw.tolist() == list(range(one.first_seq, one.next_seq))
                found += range(one.first_seq, one.next_seq)
        return found

    def times_s(self, channel: str) -> NDArray[np.float64]:
        batches = [one for one in self.arrivals if isinstance(one, SampleBatch) and one.channel == channel]
        return np.asarray(np.concatenate([one.t_ns for one in batches]) / 1e9)


@asynccontextmanager
async def running(*works: Callable[[], Any]) -> AsyncIterator[None]:
    """Run works beside a test, and cancel them at its end."""
    tasks = [asyncio.create_task(work()) for work in works]
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        for task in tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task
