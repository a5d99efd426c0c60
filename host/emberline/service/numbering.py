"""Sequence numbers for readings that have none: device, channel and time name each, and a repeat is left out."""

import asyncio
from collections import deque
from dataclasses import dataclass, field

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, FLAG_UNCHECKED, SampleBatch
from emberline.links.arrivals import Lost, Missed, Unnumbered
from emberline.store.reader import ALWAYS_NS, StoreReader

RECENT = 20_000
"""Times of a stream that are remembered: more than can be on the way to the disk. Older ones are looked up there."""
BOOT = 0
"""Boot of such readings; nobody can tell one from the next."""
NAMELESS = FLAG_ARRIVAL_STAMPED | FLAG_UNCHECKED
"""Flags of readings that their time does not name: one of arrival, or of a line, which never comes twice."""


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

        A reading that its time does not name is always new. Must not be called a second time before it has returned.

        Raises:
            StoreError: What is stored cannot be looked up.
        """
        stream = await self._stream(readings.device, readings.channel, int(readings.t_ns[0]))
        stamped = (readings.flags & NAMELESS) != 0
        doubtful = [
            t_ns for t_ns in readings.t_ns[~stamped].tolist() if t_ns <= stream.newest_ns and not stream.knows(t_ns)
        ]
        key = readings.device, readings.channel
        stored = await self._stored(key, min(doubtful), max(doubtful)) if doubtful else set[int]()
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

    async def skipped(self, missed: Missed) -> Lost:
        """Give numbers to readings that were lost; as `numbered`, also in what it raises."""
        stream = await self._stream(missed.device, missed.channel, missed.start_ns)
        first_seq, stream.next_seq = stream.next_seq, stream.next_seq + missed.count
        return Lost(
            missed.device,
            BOOT,
            missed.channel,
            first_seq,
            stream.next_seq,
            missed.start_ns,
            missed.end_ns,
            missed.reason,
        )

    async def _stream(self, device: str, channel: str, since_ns: int) -> _Stream:
        key = device, channel
        if key not in self._streams:
            next_seq = await asyncio.to_thread(self._store.next_seq, device, BOOT, channel)
            known = await self._stored(key, since_ns, ALWAYS_NS) if next_seq else set[int]()
            self._streams[key] = _Stream(next_seq, max(known, default=-1))
        return self._streams[key]

    async def _stored(self, key: tuple[str, str], start_ns: int, end_ns: int) -> set[int]:
        """Return the times of a channel's stored samples within a window."""

        def look() -> set[int]:
            times: set[int] = set()
            for batch in self._store.batches(self._bench, start_ns, end_ns):
                if (batch.device, batch.channel) == key and batch.boot == BOOT:
                    times.update(batch.t_ns[(batch.flags & NAMELESS) == 0].tolist())
            return times

        return await asyncio.to_thread(look)
