"""Commands of the program: what one says in all, or one that talks while it works, heard and answered."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from daemon_fixture import EMBERLINE

LIMIT_S = 60.0


async def said_by(*words: str, limit_s: float = LIMIT_S) -> tuple[int | None, str, str]:
    """Run a command to its end, and return its exit code and what it printed on both streams."""
    process = await asyncio.create_subprocess_exec(
        EMBERLINE, *words, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
    )
    async with asyncio.timeout(limit_s):
        out, err = await process.communicate()
    return process.returncode, out.decode(), err.decode()


class Conversation:
    """What a command says, and what is typed at it."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self.process = process
        self.said = ""
        self._read = 0

    async def hears(self, words: str) -> None:
        """Wait until something new is said."""
        assert self.process.stdout is not None
        try:
            async with asyncio.timeout(LIMIT_S):
                while words not in self.said[self._read :]:
                    piece = await self.process.stdout.read(4096)
                    assert piece, f"it ended before it said {words!r}: {self.said[-1500:]}"
                    self.said += piece.decode()
        except TimeoutError:
            raise AssertionError(f"it never said {words!r}: {self.said[-1500:]}") from None
        self._read = self.said.index(words, self._read) + len(words)

    def types(self, line: str = "") -> None:
        """Type a line."""
        assert self.process.stdin is not None
        self.process.stdin.write(line.encode() + b"\n")

    async def ends(self) -> int:
        """Wait until it ends, and return its exit code."""
        assert self.process.stdout is not None
        async with asyncio.timeout(LIMIT_S):
            self.said += (await self.process.stdout.read()).decode()
            return await self.process.wait()


@asynccontextmanager
async def conversation(*words: str) -> AsyncIterator[Conversation]:
    """Run a command of the program; it is ended with the context."""
    process = await asyncio.create_subprocess_exec(
        EMBERLINE,
        *words,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    try:
        yield Conversation(process)
    finally:
        if process.returncode is None:
            process.kill()
            await process.wait()
