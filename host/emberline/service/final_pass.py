"""Summaries worked out beside ingest: in a process of its own, so that no reading waits for a plot."""

import asyncio
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from emberline.curves.events import Event, Retraction
from emberline.service.apart import called_apart
from emberline.service.board import Board
from emberline.service.errors import ApartError
from emberline.service.heaps import give_back
from emberline.service.keeper import Ended
from emberline.store.errors import StoreError
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

LIMIT_S = 600.0
"""Longest final pass, real seconds; a burn of an hour takes some five."""
AGAIN_S, LONGEST_AGAIN_S = 5.0, 900.0
"""Pauses before a summary that failed is tried again, real seconds: the disk that was full may be free by then."""


@dataclass(frozen=True, slots=True)
class Summed:
    """What a final pass brought.

    Attributes:
        document: The summary as JSON text.
        version: Of the software that worked it out.
        events: Refined events.
        retracted: What the live run took back.
        page: The summary page.
        listing: What a list of trials shows of it.
        advice: What would help most to know its main results better, a sentence each.
        additions: Those of the trial that it knows of.
    """

    document: str
    version: str
    events: tuple[Event, ...]
    retracted: tuple[Retraction, ...]
    page: Path
    listing: str = ""
    advice: tuple[str, ...] = ()
    additions: int = 0


FinalPass = Callable[[str, bool], Summed]
"""Works out the summary of a trial (id, whether provisional) from the store; must be importable by its name."""


class Summaries:
    """Works out summaries one after the other, as they fall due."""

    def __init__(self, store: Store, boards: Mapping[str, Board], final_pass: FinalPass) -> None:
        """Prepare; `run` does the work.

        Args:
            store: Where the trials are.
            boards: Where the summaries of a bench are shown; those of other benches are kept and shown nowhere.
            final_pass: Works them out.
        """
        self._store = store
        self._boards = boards
        self._final_pass = final_pass
        self._due: dict[str, Ended] = {}
        self._now: str | None = None
        self._news = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()
        self._again_s = AGAIN_S
        self._troubles: dict[str, str] = {}

    def put(self, ended: Ended) -> None:
        """Have a summary worked out, in place of one of the same trial that still waits."""
        self._due[ended.trial] = ended
        self._again_s = AGAIN_S
        self._idle.clear()
        self._news.set()

    def works_on(self, trial: str) -> bool:
        """Tell whether a trial's summary is being worked out, or waits for it."""
        return trial in self._due or trial == self._now

    async def done(self) -> None:
        """Wait until every summary that is due has been worked out, or has failed and is put off."""
        await self._idle.wait()

    async def run(self) -> None:
        """Work until cancelled; what fails is tried again, after longer and longer pauses."""
        while True:
            await self._wait()
            put_off: dict[str, Ended] = {}
            while self._due:
                ended = self._due.pop(next(iter(self._due)))
                self._now = ended.trial
                try:
                    await self._work(ended)
                except (ApartError, StoreError) as error:
                    put_off[ended.trial] = ended
                    self._report(ended.bench, str(error))
                finally:
                    self._now = None
            self._due = put_off
            for bench in self._troubles.keys() - {ended.bench for ended in put_off.values()}:
                self._report(bench, "")
            self._idle.set()

    async def _wait(self) -> None:
        """Wait until a summary falls due, or one that failed is to be tried again."""
        try:
            async with asyncio.timeout(self._again_s if self._due else None):
                await self._news.wait()
        except TimeoutError:
            self._again_s = min(2.0 * self._again_s, LONGEST_AGAIN_S)
        self._news.clear()

    def _report(self, bench: str, trouble: str) -> None:
        """Log and show what is wrong with a bench's summaries, once."""
        if trouble == self._troubles.get(bench, ""):
            return
        self._troubles[bench] = trouble
        if bench in self._boards:
            self._boards[bench].report("summary", trouble)
        if trouble:
            LOG.error("%s; it is tried again", trouble)

    async def _work(self, ended: Ended) -> None:
        trial = ended.trial
        LOG.info("working out the %ssummary of trial %s", "provisional " if ended.provisional else "", trial)
        summed = await called_apart(self._final_pass, trial, ended.provisional, name="the final pass", limit_s=LIMIT_S)
        if not ended.provisional:
            await asyncio.to_thread(self._store.save_events, trial, summed.events, summed.retracted)
            await asyncio.to_thread(
                self._store.save_summary,
                trial,
                summed.document,
                summed.version,
                summed.listing,
                additions=summed.additions,
            )
        LOG.info("summary of trial %s: %s", trial, summed.page)
        if ended.bench in self._boards:
            self._show(self._boards[ended.bench], ended, summed)
        if not ended.provisional:
            await self._compact(trial)
            give_back()

    @staticmethod
    def _show(board: Board, ended: Ended, summed: Summed) -> None:
        board.summary = str(summed.page)
        board.summary_document = summed.document
        board.advice = (ended.trial, summed.advice)
        board.say(
            {
                "schema": "emberline.event/1",
                "bench": ended.bench,
                "trial": ended.trial,
                "kind": "summary",
                "provisional": ended.provisional,
                "page": str(summed.page),
            }
        )

    async def _compact(self, trial: str) -> None:
        """Merge the blocks of a trial whose record is complete; the summary stands whether or not that succeeds."""
        try:
            saved = await asyncio.to_thread(self._store.compact, trial)
        except StoreError as error:
            LOG.warning("the record of trial %s stays as it is, in small blocks: %s", trial, error)
        else:
            LOG.info("the record of trial %s is in %d blocks less", trial, saved)
