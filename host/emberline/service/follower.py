"""`Followings` in a process of its own: one process for all benches, which take turns in it."""

import asyncio
from pathlib import Path

from emberline.service.apart import Apart
from emberline.service.errors import ApartError, BegunAnewError
from emberline.service.watch import Changes, Turn, Watch, changed

NAME = "the follower"
LIMIT_S = 120.0
"""Longest wait for a turn, real seconds; the first one imports the detectors' libraries."""


class ApartFollower:
    """Follows the records of a store without taking time from the program that fills it.

    One question serves all benches that wait, and turns are short: a bench with much to catch up on holds up none.
    """

    def __init__(self, store: Path) -> None:
        """Prepare; the process is started when it is first needed, and anew after it went down."""
        self._apart = Apart(_followings, store, name=NAME)
        self._lock = asyncio.Lock()
        self._begun: set[str] = set()
        self._waiting: dict[str, None] = {}
        self._found: dict[str, Changes | str] = {}
        self._last: dict[str, Turn] = {}

    def of(self, bench: str) -> "BenchFollower":
        """Return what follows one bench."""
        return BenchFollower(self, bench)

    async def start(self) -> None:
        """Start the process, so that nobody waits for it later.

        Raises:
            ApartError: It cannot be started.
        """
        async with self._lock:
            await self._start()

    async def begin(self, watch: Watch) -> None:
        """Follow a record of a bench.

        Raises:
            ApartError: The process failed.
        """
        async with self._lock:
            await self._start()
            await self._apart.call("begin", watch, limit_s=LIMIT_S)
            self._begun.add(watch.bench)
            self._last.pop(watch.bench, None)

    async def turn(self, bench: str) -> Turn:
        """Follow the record of a bench further.

        Raises:
            ApartError: The process failed.
            BegunAnewError: It was begun anew since; the record is to be begun anew as well.
        """
        self._waiting[bench] = None
        try:
            async with self._lock:
                while bench not in self._found:
                    if not self._apart.running or bench not in self._begun:
                        raise BegunAnewError("the follower was begun anew")
                    await self._ask()
        except BaseException:
            # Nobody is told what a turn may have found for it meanwhile, so that its record has to be begun anew.
            self._begun.discard(bench)
            raise
        finally:
            self._waiting.pop(bench, None)
            found = self._found.pop(bench, "")
        if isinstance(found, str):
            raise ApartError(f"{NAME} failed: {found}")
        self._last[bench] = turn = changed(self._last.get(bench), found)
        return turn

    async def close(self) -> None:
        """End the process."""
        await self._apart.close()

    async def _ask(self) -> None:
        """Have turns for all who wait, in their order; those who come late may have to wait for the next ones."""
        # Benches whose readings were committed together come to ask one after the other, all before this goes on.
        await asyncio.sleep(0)
        benches = [bench for bench in self._waiting if bench in self._begun and bench not in self._found]
        found: dict[str, Changes | str] = await self._apart.call("turns", benches, limit_s=LIMIT_S)
        self._found |= {bench: turn for bench, turn in found.items() if bench in self._waiting}

    async def _start(self) -> None:
        if not self._apart.running:
            self._begun.clear()
            await self._apart.start()


class BenchFollower:
    """Follows the record of one bench."""

    def __init__(self, follower: ApartFollower, bench: str) -> None:
        """Use `ApartFollower.of`."""
        self._follower = follower
        self._bench = bench

    async def begin(self, watch: Watch) -> None:
        """Follow a record; raises as `ApartFollower.begin` does."""
        await self._follower.begin(watch)

    async def turn(self) -> Turn:
        """Follow it further; raises as `ApartFollower.turn` does."""
        return await self._follower.turn(self._bench)


def _followings(store: Path) -> object:
    """Make the object in the process apart, which alone imports the detectors."""
    from emberline.service.following import Followings

    return Followings(store)
