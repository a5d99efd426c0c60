"""Ending processes that this program has started."""

import asyncio
import contextlib


async def end_process(process: asyncio.subprocess.Process, limit_s: float) -> None:
    """Ask a process to end, end it by force after a while, and wait until it is gone; does nothing if it is.

    Args:
        process: The process.
        limit_s: How long it may take by itself, real seconds.
    """
    with contextlib.suppress(ProcessLookupError):
        process.terminate()
    try:
        async with asyncio.timeout(limit_s):
            await process.wait()
    except TimeoutError:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        await process.wait()
