"""Looks at the recording once a second: its state, the disk, the clock; tells the service manager; keeps notices."""

import asyncio
import logging
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field

from emberline.service.clock_watch import ClockWatch
from emberline.service.health import HealthWatch, newest
from emberline.service.health_notify import Notifier
from emberline.service.housekeeping import disk_of, disk_warning
from emberline.service.intake import IngestCounts
from emberline.store.errors import StoreDamagedError, StoreError
from emberline.store.notices import Notice
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

LOOK_S = 0.5
DISK_EVERY_S = 10.0
SHOWN_NS = 7 * 86_400 * 1_000_000_000
"""Notices are shown for a week."""
COMMIT_ALARM_S = 0.25
"""Commits that take longer leave little room before readings wait."""
ENOUGH_COMMITS = 100
PROOF_LIMIT_S = 5.0
"""How long the writer may take to answer where nothing has been committed lately, real seconds."""


@dataclass
class HealthLoop:
    """The task that watches over the others.

    Attributes:
        store: The store.
        watch: The state.
        clock_watch: The wall clock.
        notifier: The service manager.
        counts: What has passed, by bench.
        durations_s: How long the newest commits took, real seconds.
        step_due: Called while the wall clock's time should be taken up.
        damaged: Called when the store on disk can no longer be read, though the writer has not noticed.
    """

    store: Store
    watch: HealthWatch
    clock_watch: ClockWatch
    notifier: Notifier
    counts: Sequence[IngestCounts]
    durations_s: Collection[float]
    step_due: Callable[[], None] = lambda: None
    damaged: Callable[[StoreDamagedError], None] = lambda _: None
    _unkept: list[Notice] = field(default_factory=list)
    _disk_at_s: float = float("-inf")
    _proof: "asyncio.Future[None] | None" = None
    _commits: int = 0
    _proved_s: float = field(default_factory=time.monotonic)

    async def run(self) -> None:
        """Look until cancelled."""
        since_ns = self.watch.clock.now_ns() - SHOWN_NS
        self.watch.notices = newest(await asyncio.to_thread(self.store.notices, since_ns))
        self.notifier.ready()
        while True:
            await self.look()
            await asyncio.sleep(LOOK_S)

    async def look(self) -> None:
        """Look once."""
        watch = self.watch
        for notice in (*watch.look(), self.clock_watch.look()):
            if notice is not None:
                LOG.warning("%s", notice.text)
                self._unkept.append(notice)
                watch.notices = newest([*watch.notices, notice])
        watch.warn("clock", self.clock_watch.warning())
        if time.monotonic() - self._disk_at_s >= DISK_EVERY_S:
            self._disk_at_s = time.monotonic()
            watch.disk = await asyncio.to_thread(disk_of, self.store.path)
            watch.warn("disk", disk_warning(watch.disk))
            watch.warn("commits", self._slow())
            await self._probe()
        self.notifier.status(watch.status_line())
        if await self._lives():
            self.notifier.alive()
            await self._keep()
        # Last, since it may end this task: what was noticed is kept first.
        if self.clock_watch.due and not self._unkept:
            self.step_due()

    async def _probe(self) -> None:
        """Read what was written; a writer goes on for long with what it remembers of a file that is damaged."""
        try:
            await asyncio.to_thread(self.store.probe)
        except StoreDamagedError as error:
            self.damaged(error)
        except StoreError as error:
            LOG.debug("the store could not be read: %s", error)

    async def _keep(self) -> None:
        """Keep the notices that are not on disk yet; a full disk keeps them waiting."""
        while self._unkept:
            try:
                await asyncio.to_thread(self.store.add_notice, self._unkept[0])
            except StoreError as error:
                LOG.debug("a notice waits for the store: %s", error)
                return
            del self._unkept[0]

    async def _lives(self) -> bool:
        """Return whether the store's writer is known to work: by a fresh commit, or by its answer when asked.

        A writer that refuses lives: a full disk is not mended by a restart. One that hangs does not.
        """
        now_s = time.monotonic()
        commits = sum(counts.commits for counts in self.counts)
        if commits > self._commits:
            self._commits, self._proved_s = commits, now_s
        if self._proof is not None and self._proof.done():
            self._proof, self._proved_s = None, now_s
        if now_s - self._proved_s < LOOK_S:
            return True
        if self._proof is None:
            self._proof = asyncio.wrap_future(self.store.submit_proof())
            self._proof.add_done_callback(_seen)
        await asyncio.wait([self._proof], timeout=LOOK_S)
        if self._proof.done():
            self._proof, self._proved_s = None, time.monotonic()
        return time.monotonic() - self._proved_s < PROOF_LIMIT_S

    def _slow(self) -> str:
        if len(self.durations_s) < ENOUGH_COMMITS or (longest_s := commit_p99_s(self.durations_s)) < COMMIT_ALARM_S:
            return ""
        return f"one commit in a hundred takes {longest_s:.2f} s or longer: the disk is slow or failing"


def commit_p99_s(durations_s: Iterable[float]) -> float:
    """Return the duration that 99 of 100 commits stay below; 0 where there were none."""
    ordered = sorted(durations_s)
    return ordered[(99 * len(ordered)) // 100] if ordered else 0.0


def _seen(future: "asyncio.Future[None]") -> None:
    """Take note of a refusal, which is told where it matters: in ingest."""
    if not future.cancelled():
        future.exception()
