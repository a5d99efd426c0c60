"""What is done beside recording so that it can go on for months: old samples go, the disk's room is watched."""

import asyncio
import logging
import shutil
from dataclasses import dataclass
from pathlib import Path

from emberline.service.clock import Clock
from emberline.service.health import Disk, HealthWatch
from emberline.store.errors import StoreError
from emberline.store.store import Store
from emberline.store.upkeep import KEEP_DAYS
from emberline.trials.alarms.alarm import Danger
from emberline.trials.alarms.bench_state import disk_low

LOG = logging.getLogger(__name__)

DAY_S = 86_400.0
LEAST_KEEP_DAYS = 1.0 / 24.0
"""A fire is looked for in the newest twenty minutes, and armed trials reach back one; an hour covers both."""
MERGED_AFTER_NS = 3_600 * 1_000_000_000
FIRST_S = 60.0
EVERY_S = 3600.0
LARGEST_JOURNAL_BYTES = 128 * 1024 * 1024
"""Twice what it is shortened to; beyond this, some reader keeps it from being shortened."""


@dataclass
class Housekeeping:
    """Prunes the store.

    Attributes:
        store: The store.
        clock: The daemon's clock.
        watch: Where trouble is shown.
        keep_days: Age at which samples outside trials go; None keeps all.
    """

    store: Store
    clock: Clock
    watch: HealthWatch
    keep_days: float | None = KEEP_DAYS

    async def run(self) -> None:
        """Prune now and then until cancelled; at the pace of real time, whatever the clock's."""
        await asyncio.sleep(FIRST_S)
        while True:
            await self.prune()
            await self.compact()
            await asyncio.sleep(EVERY_S)

    async def prune(self) -> None:
        """Drop what is old enough, belongs to no trial and has been forwarded to every server."""
        if self.keep_days is None:
            return
        before_ns = self.clock.now_ns() - round(max(self.keep_days, LEAST_KEEP_DAYS) * DAY_S * 1e9)
        try:
            pruned = await asyncio.to_thread(self.store.prune, before_ns)
        except StoreError as error:
            self.watch.warn("keeping", f"old readings could not be dropped: {error}")
            return
        self.watch.warn("keeping", "")
        if pruned.blocks:
            LOG.info(
                "readings outside trials older than %g days were dropped: %d blocks", self.keep_days, pruned.blocks
            )
        if pruned.waiting:
            LOG.info("%d old blocks are kept until the server has taken them", pruned.waiting)

    async def compact(self) -> None:
        """Merge the small blocks of what is older than an hour, which saves most of the room that they take."""
        try:
            saved = await asyncio.to_thread(self.store.compact_old, self.clock.now_ns() - MERGED_AFTER_NS)
        except StoreError as error:
            LOG.warning("older readings stay in small blocks: %s", error)
        else:
            LOG.debug("older readings are in %d blocks less", saved)


def disk_of(store: Path) -> Disk:
    """Return how large a store is and how much room is left; what cannot be found out counts as nothing."""

    def size(path: Path) -> int:
        try:
            return path.stat().st_size
        except OSError:
            return 0

    try:
        usage = shutil.disk_usage(store.parent)
    except OSError:
        usage = None
    sizes = size(store), size(store.with_name(store.name + "-wal"))
    return Disk(*sizes) if usage is None else Disk(*sizes, usage.free, usage.total)


def disk_warning(disk: Disk) -> str:
    """Return what is wrong with the room on the store's disk, in words; empty if nothing is."""
    if disk.journal_bytes > LARGEST_JOURNAL_BYTES:
        return (
            f"the store's journal has grown to {disk.journal_bytes / 1e6:.0f} MB: some program reads the store without"
            " end; end it"
        )
    room = disk_low(disk.free_bytes, disk.total_bytes)
    return room.text if isinstance(room, Danger) else ""
