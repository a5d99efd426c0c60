"""`emberline run` as a process of its own: started, killed and started again, and asked how it is."""

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, BinaryIO

from emberline.service.control_client import ask
from emberline.service.errors import NoDaemonError, RequestError

EMBERLINE = str(Path(sys.executable).with_name("emberline"))
END_LIMIT_S = 20.0
"""Ten seconds are what an end in order may take; the rest is a busy machine's."""


class DaemonProcess:
    """One daemon after the other on one data folder.

    Attributes:
        data: The data folder.
        log: Where all of them log.
    """

    def __init__(self, data: Path, *options: str, out: BinaryIO | None = None, **environment: str) -> None:
        """Describe it; `start` runs it.

        Args:
            data: The data folder.
            options: Further words for `emberline run`.
            out: Where it says what it says to a person; nowhere by default.
            environment: Further variables.
        """
        self.data = data
        self.log = data.with_name(data.name + ".log")
        self._words = ("run", "--data", str(data), "--log", str(self.log), *options)
        self._out = out
        self._environment = environment
        self._process: asyncio.subprocess.Process | None = None

    @property
    def process(self) -> asyncio.subprocess.Process:
        """The process that runs, or ran last."""
        assert self._process is not None, "not started"
        return self._process

    @property
    def running(self) -> bool:
        """Whether it runs."""
        return self._process is not None and self._process.returncode is None

    async def start(self) -> None:
        """Start it; does not wait until it records."""
        self._process = await asyncio.create_subprocess_exec(
            EMBERLINE,
            *self._words,
            env={**os.environ, **self._environment},
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.DEVNULL if self._out is None else self._out,
        )

    async def kill(self) -> None:
        """End it at once, as a power cut ends a program."""
        self.process.send_signal(signal.SIGKILL)
        await self.process.wait()

    async def stop(self) -> int:
        """End it in order and return its exit code."""
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(signal.SIGTERM)
        async with asyncio.timeout(END_LIMIT_S):
            return await self.process.wait()

    async def health(self) -> dict[str, Any] | None:
        """Return its health document, or None while it does not answer."""
        try:
            found: dict[str, Any] = (await asyncio.to_thread(ask, self.data, {"do": "health"}, 5.0))["health"]
        except (NoDaemonError, RequestError):
            return None
        return found

    async def answers(self, limit_s: float = 120.0) -> None:
        """Wait until it answers."""
        async with asyncio.timeout(limit_s):
            while await self.health() is None:  # noqa: ASYNC110 it is in another process
                await asyncio.sleep(0.05)

    async def stored(self) -> int:
        """Return how many samples it has stored since it began; 0 while it does not answer."""
        health = await self.health()
        return 0 if health is None else samples_stored(health)

    async def told(self, request: dict[str, Any], limit_s: float = 30.0) -> dict[str, Any]:
        """Ask something of it, again and again until it is done."""
        why = ""
        try:
            async with asyncio.timeout(limit_s):
                while True:
                    try:
                        return await asyncio.to_thread(ask, self.data, request)
                    except (NoDaemonError, RequestError) as error:
                        why = str(error)
                        await asyncio.sleep(0.05)
        except TimeoutError:
            raise AssertionError(f"{request['do']} was not done within {limit_s:.0f} s: {why}") from None

    async def stores_more(self, than: int, limit_s: float = 60.0) -> None:
        """Wait until it has stored more samples than so many."""
        try:
            async with asyncio.timeout(limit_s):
                while await self.stored() <= than:  # noqa: ASYNC110 it is in another process
                    await asyncio.sleep(0.02)
        except TimeoutError:
            raise AssertionError(f"nothing new was stored within {limit_s:.0f} s: {await self.health()}") from None


def samples_stored(health: Mapping[str, Any]) -> int:
    """Return how many samples a health document tells of, all benches together."""
    return sum(bench["samples"]["stored"] for bench in health["benches"])


@asynccontextmanager
async def daemon_process(
    data: Path, *options: str, out: BinaryIO | None = None, **environment: str
) -> AsyncIterator[DaemonProcess]:
    """Run a daemon, and end whichever runs on its folder afterwards."""
    daemon = DaemonProcess(data, *options, out=out, **environment)
    await daemon.start()
    try:
        yield daemon
    finally:
        if daemon.running:
            try:
                await daemon.stop()
            except TimeoutError:
                await daemon.kill()
                raise


def children(pid: int) -> list[int]:
    """Return the processes that a process has started; none once it has ended."""
    found: list[int] = []
    with contextlib.suppress(OSError):
        for task in (Path("/proc") / str(pid) / "task").iterdir():
            with contextlib.suppress(OSError):
                found += map(int, (task / "children").read_text().split())
    return found
