"""From links to the store: commit, then acknowledge, then publish. A full queue slows the source; nothing is lost."""

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Lost
from emberline.service.clock import Clock
from emberline.store.errors import StoreClosedError, StoreDamagedError, StoreError, StoreReplacedError
from emberline.store.records import CommitReceipt, Gap
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

GATHER_S = 0.1
"""How long readings that follow the first one are waited for, so that a second's frames share one commit."""
MAX_HELD_SAMPLES = 20_000
"""Samples that may wait for the store, minutes of a fast bench; a source with more waits itself."""
TRY_AGAIN_S = 1.0
TIMED_COMMITS = 300
"""Commits whose duration is remembered: some minutes of a bench."""


class Source(Protocol):
    """Where readings come from, and where they are acknowledged."""

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted, by channel, are on disk."""


@dataclass(frozen=True, slots=True)
class _Held:
    source: Source
    item: SampleBatch | Lost

    @property
    def size(self) -> int:
        return len(self.item) if isinstance(self.item, SampleBatch) else 1


@dataclass(slots=True)
class IngestCounts:
    """What has passed.

    Attributes:
        committed: Samples stored.
        repeated: Samples that were stored before.
        lost: Samples flagged lost.
        commits: Commits.
        last_commit_ns: Time of the last one, by the daemon's clock.
        trouble: Why nothing can be stored now; empty if it can.
        held: Samples that wait for the store now.
        durations_s: How long the newest commits took, real seconds.
    """

    committed: int = 0
    repeated: int = 0
    lost: int = 0
    commits: int = 0
    last_commit_ns: int | None = None
    trouble: str = ""
    held: int = 0
    durations_s: deque[float] = field(default_factory=lambda: deque(maxlen=TIMED_COMMITS))


@dataclass
class Ingest:
    """The queue in front of the store, and the task that empties it.

    Attributes:
        store: Where everything is kept.
        bench: Id of the bench.
        clock: The daemon's clock.
        publish: Called with each receipt, after the acknowledgement.
        counts: What has passed.
    """

    store: Store
    bench: str
    clock: Clock
    publish: Callable[[CommitReceipt], None]
    counts: IngestCounts = field(default_factory=IngestCounts)
    _queue: list[_Held] = field(default_factory=list)
    _closing: bool = False
    _changed: asyncio.Condition = field(default_factory=asyncio.Condition)

    async def put(self, source: Source, items: Sequence[SampleBatch | Lost]) -> None:
        """Hand in readings and losses in the order of their arrival; waits while too much is held."""
        async with self._changed:
            await self._changed.wait_for(lambda: self.counts.held < MAX_HELD_SAMPLES)
            fresh = [_Held(source, item) for item in items]
            self._queue += fresh
            self.counts.held += sum(one.size for one in fresh)
            self._changed.notify_all()

    async def close(self) -> None:
        """Let `run` return once everything handed in is stored."""
        async with self._changed:
            self._closing = True
            self._changed.notify_all()

    async def run(self) -> None:
        """Store what is handed in until closed.

        Raises:
            StoreDamagedError: The store has turned out to be damaged, and nothing more can be appended.
            StoreReplacedError: Another file has taken its name.
        """
        while True:
            async with self._changed:
                await self._changed.wait_for(lambda: bool(self._queue) or self._closing)
            if not self._queue:
                return
            if not self._closing:
                await self.clock.sleep(GATHER_S)
            async with self._changed:
                held, self._queue = self._queue, []
            try:
                await self._store(held)
            except BaseException:
                # Whatever failed, nothing of it was acknowledged: it is stored by whoever runs this again.
                self._queue[:0] = held
                raise
            async with self._changed:
                self.counts.held -= sum(one.size for one in held)
                self._changed.notify_all()

    async def _store(self, held: Sequence[_Held]) -> None:
        batches = [one.item for one in held if isinstance(one.item, SampleBatch)]
        gaps = [_gap(one.item) for one in held if isinstance(one.item, Lost)]
        receipt = await self._committed(batches, gaps)
        counts = self.counts
        counts.commits += 1
        counts.committed += sum(map(len, receipt.stored))
        counts.repeated += receipt.repeated
        counts.lost += sum(gap.next_seq - gap.first_seq for gap in receipt.flagged)
        counts.last_commit_ns = self.clock.now_ns()
        for gap in receipt.flagged:
            number = gap.next_seq - gap.first_seq
            LOG.warning("%d samples of %s are lost: %s", number, gap.channel, gap.reason)
        for source, boot, wanted in _acknowledgements(held):
            source.committed(boot, wanted)
        self.publish(receipt)

    async def _committed(self, batches: Sequence[SampleBatch], gaps: Sequence[Gap]) -> CommitReceipt:
        """Commit, and try again for as long as the store refuses; meanwhile nothing is acknowledged."""
        while True:
            began_s = time.monotonic()
            try:
                receipt = await asyncio.wrap_future(self.store.submit_commit(self.bench, batches, gaps))
            except (StoreClosedError, StoreDamagedError, StoreReplacedError):
                # The daemon begins anew on a sound file; what is held here was not acknowledged, and comes again.
                raise
            except StoreError as error:
                if str(error) != self.counts.trouble:
                    LOG.error("nothing can be stored: %s", error)
                self.counts.trouble = str(error)
                await asyncio.sleep(TRY_AGAIN_S)
            else:
                if self.counts.trouble:
                    LOG.warning("readings are stored again")
                self.counts.trouble = ""
                self.counts.durations_s.append(time.monotonic() - began_s)
                return receipt


def _gap(lost: Lost) -> Gap:
    return Gap(
        lost.device, lost.boot, lost.channel, lost.first_seq, lost.next_seq, lost.start_ns, lost.end_ns, lost.reason
    )


def _acknowledgements(held: Sequence[_Held]) -> list[tuple[Source, int, dict[str, int]]]:
    """Return what each source may be told of each boot: the number after the last sample by channel."""
    wanted: dict[tuple[int, int], tuple[Source, int, dict[str, int]]] = {}
    for one in held:
        item = one.item
        _, _, numbers = wanted.setdefault((id(one.source), item.boot), (one.source, item.boot, {}))
        numbers[item.channel] = max(item.next_seq, numbers.get(item.channel, 0))
    return list(wanted.values())
