"""Sequence numbers for readings that have none: device, channel and time name each, and a repeat is left out."""

import asyncio
from collections import deque
from dataclasses import dataclass, field

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, SampleBatch
from emberline.links.arrivals import Unnumbered
from emberline.store.reader import ALWAYS_NS, StoreReader

RECENT = 20_000
"""Times of a stream that are remembered: more than can be on the way to the disk. Older ones are looked up there."""
BOOT = 0
"""Boot of such readings; nobody can tell one from the next."""


@dataclass
class _Stream:
    next_seq: int
    newest_ns: int
    _order: deque[int] = field(default_factory=deque)
    _recent: set[int] = field(default_factory=set)

    def knows(self, t_ns: int) -> bool:
        return t_ns in self._recent

    def note(self, t_ns: int) -> None:
        self.newest_ns = max(self.newest_ns, t_ns)
        if t_ns not in self._recent:
            self._recent.add(t_ns)
            self._order.append(t_ns)
            if len(self._order) > RECENT:
                self._recent.discard(self._order.popleft())


class Numbering:
    """Numbers the readings of one bench, going on where the store ends."""

    def __init__(self, store: StoreReader, bench: str) -> None:
        """Number for a bench whose samples are in a store."""
        self._store = store
        self._bench = bench
        self._streams: dict[tuple[str, str], _Stream] = {}

    async def numbered(self, readings: Unnumbered) -> SampleBatch | None:
        """Return what of the readings is new, numbered; None where nothing is.

        A reading stamped on arrival is always new: its time does not name it. Must not be called a second time before
        it has returned.

        Raises:
            StoreError: What is stored cannot be looked up.
        """
        stream = await self._stream(readings)
        stamped = (readings.flags & FLAG_ARRIVAL_STAMPED) != 0
        doubtful = [
            t_ns for t_ns in readings.t_ns[~stamped].tolist() if t_ns <= stream.newest_ns and not stream.knows(t_ns)
        ]
        stored = await self._stored(readings, min(doubtful), max(doubtful)) if doubtful else set[int]()
        fresh: list[int] = []
        for index, t_ns in enumerate(readings.t_ns.tolist()):
            if stamped[index] or not (stream.knows(t_ns) or t_ns in stored):
                fresh.append(index)
            if not stamped[index]:
                stream.note(t_ns)
        if not fresh:
            return None
        batch = SampleBatch(
            device=readings.device,
            boot=BOOT,
            channel=readings.channel,
            first_seq=stream.next_seq,
            t_ns=readings.t_ns[fresh],
            raw=readings.raw[fresh],
            flags=readings.flags[fresh],
        )
        stream.next_seq = batch.next_seq
        return batch

    async def _stream(self, readings: Unnumbered) -> _Stream:
        key = readings.device, readings.channel
        if key not in self._streams:
            next_seq = await asyncio.to_thread(self._store.next_seq, readings.device, BOOT, readings.channel)
            known = await self._stored(readings, int(readings.t_ns[0]), ALWAYS_NS) if next_seq else set[int]()
            self._streams[key] = _Stream(next_seq, max(known, default=-1))
        return self._streams[key]

    async def _stored(self, readings: Unnumbered, start_ns: int, end_ns: int) -> set[int]:
        """Return the times of a channel's stored samples within a window."""

        def look() -> set[int]:
            times: set[int] = set()
            for batch in self._store.batches(self._bench, start_ns, end_ns):
                if (batch.device, batch.boot, batch.channel) == (readings.device, BOOT, readings.channel):
                    times.update(batch.t_ns[(batch.flags & FLAG_ARRIVAL_STAMPED) == 0].tolist())
            return times

        return await asyncio.to_thread(look)
