"""A bench whose time and commits are the test's."""

import numpy as np

from emberline.bench.bench_file import default_bench
from emberline.bench.channels import Role
from emberline.bench.samples import SampleBatch
from emberline.service.bench_health import BenchWatch
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.intake import IngestCounts
from emberline.store.notices import Notice
from emberline.store.records import CommitReceipt, Gap

SECOND_NS = 1_000_000_000


class RecordedBench:
    """A bench whose time and commits are the test's."""

    def __init__(self, name: str = "yard") -> None:
        self.now_s = 1_000.0
        self.board = Board(name, Clock(1.0, 0, 0.0, lambda: self.now_s), IngestCounts())
        self.board.fitted = default_bench([Role.WATER, Role.MASS])
        self.watch = BenchWatch(self.board, self.board.clock)

    def commit(self, *channels: str, lost: int = 0) -> None:
        at_ns = np.array([int(self.now_s * SECOND_NS)], dtype=np.int64)
        batches = tuple(
            SampleBatch("dev", 1, channel, 0, at_ns, np.array([20.0]), np.zeros(1, dtype=np.uint8))
            for channel in channels or ("mass", "water")
        )
        gaps = (Gap("dev", 1, "mass", 0, lost, 0, 1, "made up"),) if lost else ()
        counts = self.board.counts
        counts.commits += 1
        counts.committed += len(batches)
        counts.lost += lost
        counts.last_commit_ns = self.board.clock.now_ns()
        self.board.committed(CommitReceipt(1, batches, 0, gaps))

    def go_on(self, seconds: float, *channels: str, step_s: float = 0.5) -> list[Notice]:
        """Commit and look, as a running bench does."""
        notices = []
        for _ in range(round(seconds / step_s)):
            self.commit(*channels)
            notices += self.look()
            self.now_s += step_s
        return notices

    def wait(self, seconds: float, step_s: float = 0.5) -> list[Notice]:
        """Look while nothing comes."""
        notices = []
        for _ in range(round(seconds / step_s)):
            self.now_s += step_s
            notices += self.look()
        return notices

    def look(self) -> list[Notice]:
        notice = self.watch.look()
        return [] if notice is None else [notice]

    def state(self) -> tuple[str, float, str]:
        health = self.watch.health()
        return health.recording.value, health.since_ns / SECOND_NS, health.why
