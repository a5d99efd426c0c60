"""A task that runs while a test lasts."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Coroutine
from contextlib import asynccontextmanager
from typing import Any


@asynccontextmanager
async def meanwhile(work: Coroutine[Any, Any, None]) -> AsyncIterator[None]:
    """Have work done that ends only when it is cancelled."""
    task = asyncio.create_task(work)
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
