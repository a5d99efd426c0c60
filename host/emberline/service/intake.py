"""The queue of one bench in front of the store: what waits there, and what becomes of it once it is on disk."""

import asyncio
import contextlib
import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Lost
from emberline.store.errors import StoreError
from emberline.store.records import CommitReceipt, Gap, Portion

LOG = logging.getLogger(__name__)

MAX_HELD_SAMPLES = 20_000
"""Samples that may wait for the store, minutes of a fast bench; a source with more waits itself."""
TRY_AGAIN_S = 1.0


class Source(Protocol):
    """Where readings come from, and where they are acknowledged."""

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted, by channel, are on disk."""


@dataclass(frozen=True, slots=True)
class Held:
    """Readings of a channel, or their loss, and where they came from."""

    source: Source
    item: SampleBatch | Lost

    @property
    def size(self) -> int:
        """How many places it takes in the queue."""
        return len(self.item) if isinstance(self.item, SampleBatch) else 1


@dataclass(slots=True)
class IngestCounts:
    """What has passed of a bench.

    Attributes:
        committed: Samples stored.
        repeated: Samples that were stored before.
        lost: Samples flagged lost.
        commits: Commits.
        last_commit_ns: Time of the last one, by the daemon's clock.
        trouble: Why nothing can be stored now; empty if it can.
        held: Samples that wait for the store now.
    """

    committed: int = 0
    repeated: int = 0
    lost: int = 0
    commits: int = 0
    last_commit_ns: int | None = None
    trouble: str = ""
    held: int = 0


class Intake:
    """The queue of one bench in front of the store.

    Attributes:
        bench: Id of the bench.
        counts: What has passed.
    """

    def __init__(
        self,
        bench: str,
        counts: IngestCounts,
        notice: Callable[["Intake"], None],
        publish: Callable[[CommitReceipt], None],
        told: Callable[[str], None],
    ) -> None:
        """Use `Ingest.of`.

        Args:
            bench: Id of the bench.
            counts: Where is counted what has passed.
            notice: Told when something waits.
            publish: Called with each receipt, after the acknowledgement.
            told: Given what keeps its readings alone from being stored, and nothing once they are.
        """
        self.bench = bench
        self.counts = counts
        self._notice = notice
        self._publish = publish
        self._told = told
        self._trouble = ""
        self._resting = self._given_up = False
        self._queue: list[Held] = []
        self._moved = asyncio.Event()

    async def put(self, source: Source, items: Sequence[SampleBatch | Lost]) -> None:
        """Hand in readings and losses in the order of their arrival; waits while too much is held."""
        while self.counts.held >= MAX_HELD_SAMPLES:
            await self._move()
        fresh = [Held(source, item) for item in items]
        self._queue += fresh
        self.counts.held += sum(one.size for one in fresh)
        if not self._resting:
            self._notice(self)

    async def emptied(self, limit_s: float) -> bool:
        """Wait until all that was handed in is stored, for so many real seconds at most; return whether it is."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(limit_s):
                while self.counts.held and not self._given_up:
                    await self._move()
        return not self.counts.held

    def take(self) -> list[Held]:
        """Return what waits, which is no longer in the queue."""
        held, self._queue = self._queue, []
        return held

    def portion(self, held: Sequence[Held]) -> Portion:
        """Return what of it is for the store."""
        batches = [one.item for one in held if isinstance(one.item, SampleBatch)]
        return Portion(self.bench, batches, [_gap(one.item) for one in held if isinstance(one.item, Lost)])

    def put_back(self, held: list[Held]) -> None:
        """Have what was taken wait again; nothing of it was acknowledged."""
        self._queue[:0] = held
        self._notice(self)

    def refused(self, held: list[Held], error: Exception) -> None:
        """Have what could not be stored wait, and be tried again after a pause."""
        self._queue[:0] = held
        self._resting = True
        asyncio.get_running_loop().call_later(TRY_AGAIN_S, self._go_on)
        if isinstance(error, StoreError):
            self.counts.trouble = str(error)
        elif str(error) != self._trouble:
            LOG.error("readings of %s cannot be stored", self.bench, exc_info=error)
            self._trouble = str(error)
            self._told(f"its readings cannot be stored, and this is tried again: {error}")

    def stored(self, held: list[Held], receipt: CommitReceipt, now_ns: int) -> None:
        """Count what was stored, acknowledge it to its sources, then publish it."""
        counts = self.counts
        counts.trouble = ""
        counts.commits += 1
        counts.committed += sum(map(len, receipt.stored))
        counts.repeated += receipt.repeated
        counts.lost += sum(gap.next_seq - gap.first_seq for gap in receipt.flagged)
        counts.last_commit_ns = now_ns
        for gap in receipt.flagged:
            number = gap.next_seq - gap.first_seq
            LOG.warning("%d samples of %s are lost: %s", number, gap.channel, gap.reason)
        for source, boot, wanted in _acknowledgements(held):
            source.committed(boot, wanted)
        self._publish(receipt)
        counts.held -= sum(one.size for one in held)
        self._moved.set()
        if self._trouble:
            self._trouble = ""
            self._told("")

    def give_up(self) -> None:
        """Have nobody wait for what is held here: the store takes nothing more."""
        self._given_up = True
        self._moved.set()

    def _go_on(self) -> None:
        self._resting = False
        self._notice(self)

    async def _move(self) -> None:
        self._moved.clear()
        await self._moved.wait()


def _gap(lost: Lost) -> Gap:
    return Gap(
        lost.device, lost.boot, lost.channel, lost.first_seq, lost.next_seq, lost.start_ns, lost.end_ns, lost.reason
    )


def _acknowledgements(held: Sequence[Held]) -> list[tuple[Source, int, dict[str, int]]]:
    """Return what each source may be told of each boot: the number after the last sample by channel."""
    wanted: dict[tuple[int, int], tuple[Source, int, dict[str, int]]] = {}
    for one in held:
        item = one.item
        _, _, numbers = wanted.setdefault((id(one.source), item.boot), (one.source, item.boot, {}))
        numbers[item.channel] = max(item.next_seq, numbers.get(item.channel, 0))
    return list(wanted.values())
