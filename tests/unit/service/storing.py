"""A task that stores what is handed in, while a test lasts; and a device that notes what it is told."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager

from emberline.service.ingest import Ingest


class Device:
    """Notes what it is told is stored."""

    def __init__(self) -> None:
        self.told: list[tuple[int, dict[str, int]]] = []

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        self.told.append((boot, dict(wanted)))

    def wanted(self, boot: int, channel: str) -> int:
        return max((wanted.get(channel, 0) for told, wanted in self.told if told == boot), default=0)


@asynccontextmanager
async def storing(ingest: Ingest) -> AsyncIterator[None]:
    """Store meanwhile."""
    task = asyncio.create_task(ingest.run())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
