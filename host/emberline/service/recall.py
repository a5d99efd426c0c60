"""The course of a bench before the daemon began, taken from the store once somebody wants to see it."""

import asyncio

from emberline.bench.bench_file import Bench
from emberline.service.board import Board
from emberline.service.course import Course
from emberline.store.reader import ALWAYS_NS, StoreReader
from emberline.trials.live_readings import readings_of


class Recall:
    """Recalls the courses of one bench, each stretch once."""

    def __init__(self, board: Board, store: StoreReader) -> None:
        """Recall into the course of a board, from the store that its readings are in."""
        self._board = board
        self._store = store
        self._since_ns = ALWAYS_NS
        self._lock = asyncio.Lock()

    async def recall(self) -> None:
        """Complete the curves that are shown now.

        Raises:
            StoreError: The store cannot be read.
        """
        board = self._board
        async with self._lock:
            start_ns, end_ns = board.shown_from_ns(), self._since_ns
            if board.fitted is None or start_ns >= end_ns:
                return
            before = board.first_commit
            earlier = await asyncio.to_thread(self._earlier, board.fitted, start_ns, end_ns - 1, before)
            if before is not board.first_commit:
                # The first commit came meanwhile, and may have been read: it is in the course already.
                before = board.first_commit
                earlier = await asyncio.to_thread(self._earlier, board.fitted, start_ns, end_ns - 1, before)
            board.course.add(earlier)
            self._since_ns = start_ns

    def _earlier(self, bench: Bench, start_ns: int, end_ns: int, before: int | None) -> Course:
        course = Course()
        for commit in self._store.commits(self._board.bench, start_ns, end_ns):
            if before is not None and commit.id >= before:
                break
            course.take(readings_of(bench, commit.batches))
        return course
