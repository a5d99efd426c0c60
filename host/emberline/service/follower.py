"""`Followings` in a process of its own: one process for all benches, which take turns in it."""

import asyncio
from pathlib import Path

from emberline.service.apart import Apart
from emberline.service.errors import ApartError, BegunAnewError
from emberline.service.watch import Changes, Turn, Watch, changed

NAME = "the follower"
BEGUN_ANEW = "the follower was begun anew"
LIMIT_S = 120.0
"""Longest wait for a turn, real seconds; the first one imports the detectors' libraries."""


class ApartFollower:
    """Follows the records of a store without taking time from the program that fills it.

    One question serves all benches that wait, and turns are short: a bench with much to catch up on holds up none.
    """

    def __init__(self, store: Path) -> None:
        """Prepare; the process is started when it is first needed, and anew after it went down."""
        self._apart = Apart(_followings, store, name=NAME)
        self._begun: set[str] = set()
        self._watches: dict[str, Watch] = {}
        self._waiting: dict[str, asyncio.Future[Changes | str]] = {}
        self._last: dict[str, Turn] = {}
        self._asked = asyncio.Event()

    def of(self, bench: str) -> "BenchFollower":
        """Return what follows one bench."""
        return BenchFollower(self, bench)

    async def start(self) -> None:
        """Start the process, so that nobody waits for it later.

        Raises:
            ApartError: It cannot be started.
        """
        await self._apart.start()

    async def run(self) -> None:
        """Ask the process for those who wait, until cancelled."""
        while True:
            await self._asked.wait()
            self._asked.clear()
            if self._waiting:
                await self._ask(dict(self._waiting))

    def begin(self, watch: Watch) -> None:
        """Follow a record of a bench from its next turn on."""
        self._begun.discard(watch.bench)
        self._last.pop(watch.bench, None)
        self._watches[watch.bench] = watch

    async def turn(self, bench: str) -> Turn:
        """Follow the record of a bench further.

        Raises:
            ApartError: The process failed.
            BegunAnewError: It was begun anew since; the record is to be begun anew as well.
        """
        if bench not in self._begun and bench not in self._watches:
            raise BegunAnewError(BEGUN_ANEW)
        self._waiting[bench] = asyncio.get_running_loop().create_future()
        self._asked.set()
        try:
            found = await self._waiting[bench]
            if isinstance(found, str):
                raise ApartError(f"{NAME} failed: {found}")
        except BaseException:
            # What a turn may have found for it is lost, so that its record has to be begun anew.
            self._begun.discard(bench)
            raise
        finally:
            del self._waiting[bench]
        self._last[bench] = turn = changed(self._last.get(bench), found)
        return turn

    async def close(self) -> None:
        """End the process."""
        await self._apart.close()

    async def _ask(self, waiting: dict[str, asyncio.Future[Changes | str]]) -> None:
        """Have turns for those who wait, in their order; who comes late may have to wait for the next question."""
        try:
            if not self._apart.running:
                self._begun.clear()
                await self._apart.start()
            waiting = {bench: future for bench, future in waiting.items() if not future.done()}
            if not waiting:
                return
            watches = [self._watches.pop(bench) for bench in waiting if bench in self._watches]
            self._begun |= {watch.bench for watch in watches}
            benches = [bench for bench in waiting if bench in self._begun]
            found: dict[str, Changes | str] = await self._apart.call("turns", watches, benches, limit_s=LIMIT_S)
        except ApartError as error:
            self._fail(waiting, error)
        except BaseException:
            self._fail(waiting, BegunAnewError(BEGUN_ANEW))
            raise
        else:
            for bench, future in waiting.items():
                if bench not in self._begun and not future.done():
                    future.set_exception(BegunAnewError(BEGUN_ANEW))
                elif bench in found and not future.done():
                    future.set_result(found[bench])
        if not all(future.done() for future in self._waiting.values()):
            self._asked.set()

    def _fail(self, waiting: dict[str, asyncio.Future[Changes | str]], error: Exception) -> None:
        """Tell one of those who wait what failed; for the others their records are to be begun anew, no more."""
        self._begun.clear()
        for future in waiting.values():
            if not future.done():
                future.set_exception(error)
                error = BegunAnewError(BEGUN_ANEW)


class BenchFollower:
    """Follows the record of one bench."""

    def __init__(self, follower: ApartFollower, bench: str) -> None:
        """Use `ApartFollower.of`."""
        self._follower = follower
        self._bench = bench

    async def begin(self, watch: Watch) -> None:
        """Follow a record from the next turn on."""
        self._follower.begin(watch)

    async def turn(self) -> Turn:
        """Follow it further; raises as `ApartFollower.turn` does."""
        return await self._follower.turn(self._bench)


def _followings(store: Path) -> object:
    """Make the object in the process apart, which alone imports the detectors."""
    from emberline.service.following import Followings

    return Followings(store)
