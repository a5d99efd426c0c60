"""The course of a bench before the daemon began, taken from the store once somebody wants to see it."""

import asyncio
from dataclasses import dataclass

from emberline.bench.bench_file import Bench
from emberline.service.board import Board
from emberline.service.course import Course
from emberline.store.reader import ALWAYS_NS, StoreReader
from emberline.trials.live_readings import ColdJunctions, readings_of

WAIT_S = 0.5
"""Longest wait for the store, real seconds: who watches sees what goes on, and the rest once the disk has answered."""


@dataclass(frozen=True)
class _Reading:
    """A stretch that is being read.

    Attributes:
        start_ns: Where it begins, UTC nanoseconds.
        before: Only commits before this one; None for all that there are.
        course: What is found.
    """

    start_ns: int
    before: int | None
    course: asyncio.Future[Course]


class Recall:
    """Recalls the courses of one bench, each stretch once."""

    def __init__(self, board: Board, store: StoreReader) -> None:
        """Recall into the course of a board, from the store that its readings are in."""
        self._board = board
        self._store = store
        self._since_ns = ALWAYS_NS
        self._reading: _Reading | None = None
        self._lock = asyncio.Lock()

    async def recall(self) -> bool:
        """Go on completing the curves that are shown now; return whether they are complete.

        Raises:
            StoreError: The store cannot be read.
        """
        board = self._board
        async with self._lock:
            start_ns = board.shown_from_ns()
            if board.fitted is None or start_ns >= self._since_ns:
                return board.fitted is not None
            if self._reading is None:
                self._reading = self._begun(board.fitted, start_ns)
            reading = self._reading
            await asyncio.wait([reading.course], timeout=WAIT_S)
            if not reading.course.done():
                return False
            self._reading = None
            earlier = reading.course.result()
            if reading.before is not board.first_commit:
                # The first commit came meanwhile, and may have been read: it is in the course already.
                return False
            board.course.add(earlier)
            self._since_ns = reading.start_ns
            return start_ns >= self._since_ns

    def _begun(self, bench: Bench, start_ns: int) -> _Reading:
        """Begin to read; one thread at a time waits for the disk, however many people watch."""
        before = self._board.first_commit
        loop = asyncio.get_running_loop()
        return _Reading(
            start_ns,
            before,
            loop.run_in_executor(None, self._earlier, bench, start_ns, self._since_ns - 1, before),
        )

    def _earlier(self, bench: Bench, start_ns: int, end_ns: int, before: int | None) -> Course:
        course, junctions = Course(), ColdJunctions()
        for commit in self._store.commits(self._board.bench, start_ns, end_ns):
            if before is not None and commit.id >= before:
                break
            course.take(readings_of(bench, commit.batches, junctions))
        return course
