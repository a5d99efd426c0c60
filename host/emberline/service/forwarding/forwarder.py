"""Sends what is stored to a time-series server, behind a cursor on the disk that moves on what the server has taken."""

import asyncio
import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import islice
from random import SystemRandom

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.errors import BenchError, TextError
from emberline.service.board import Board
from emberline.service.forwarding.rows import Sampler
from emberline.service.forwarding.server_file import TimeSeriesServer
from emberline.service.forwarding.target import NotNowError, RefusedError, ShutOutError, Target, TooLargeError
from emberline.service.forwarding.trial_sender import TrialSender
from emberline.service.health import HealthWatch
from emberline.store.blocks import Commit
from emberline.store.errors import StoreError
from emberline.store.notices import Notice, NoticeKind
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

WINDOW_COMMITS = 500
"""Commits read at once: some minutes of one bench."""
MOST_ROWS = 5_000
"""Rows in a request, as InfluxData advises (InfluxDB documentation, "Optimize writes")."""
EVERY_S = 1.0
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 300.0
SHUT_OUT_S = 60.0
PART = "server"


@dataclass
class Forwarder:
    """Forwards one store to one server.

    Attributes:
        store: The store.
        boards: What is known of each bench now, by id.
        server: The server.
        watch: Where trouble is shown.
        connect: Makes the connection.
        draw: Draws a number between 0 and 1, which spreads the pauses of many that were turned away together.
        behind: Commits that the server has not taken yet.
        oldest_ns: Time of the oldest reading among them, UTC nanoseconds; None where there are none.
        taken: Rows that it has taken since the daemon began.
        refused: Rows that it refused for good.
        failures: Times that it could not be reached, or took nothing.
        failed_ns: The last of these, UTC nanoseconds; None before the first.
    """

    store: Store
    boards: Mapping[str, Board]
    server: TimeSeriesServer
    watch: HealthWatch
    connect: Callable[[TimeSeriesServer], Target] = Target
    draw: Callable[[], float] = field(default_factory=lambda: SystemRandom().random)
    behind: int = 0
    oldest_ns: int | None = None
    taken: int = 0
    refused: int = 0
    failures: int = 0
    failed_ns: int | None = None
    _most_rows: int = MOST_ROWS
    _sampler: Sampler = field(default_factory=lambda: Sampler(0.0))

    async def run(self) -> None:
        """Forward until cancelled."""
        # From its first moment on, nothing is pruned that this server has not taken.
        await asyncio.to_thread(self._enter)
        target = await asyncio.to_thread(self.connect, self.server)
        self._sampler = Sampler(self.server.every_s)
        in_a_row = 0
        try:
            while True:
                try:
                    more = await asyncio.to_thread(self._turn, target)
                except NotNowError as error:
                    in_a_row += 1
                    self._failed(f"{error}; what it has not taken waits on this disk")
                    await asyncio.sleep(self._pause_s(in_a_row, error.after_s))
                except ShutOutError as error:
                    self._failed(f"{error}; what it has not taken waits on this disk")
                    await asyncio.sleep(SHUT_OUT_S)
                except StoreError as error:
                    self._failed(f"nothing is forwarded: {error}")
                    await asyncio.sleep(SHUT_OUT_S)
                else:
                    in_a_row = 0
                    self.watch.warn(PART, "")
                    if not more:
                        await asyncio.sleep(EVERY_S)
        finally:
            target.close()

    def _enter(self) -> None:
        cursor = self.store.outbox_cursor(self.server.name)
        self.store.advance_outbox(self.server.name, cursor)

    def _pause_s(self, failures: int, after_s: float | None) -> float:
        """Return how long to wait: what the server asks for, else longer and longer, drawn anew each time."""
        longest = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(failures, 16))
        drawn = longest * (0.1 + 0.9 * self.draw())
        return drawn if after_s is None else min(LONGEST_PAUSE_S, max(after_s, 0.1 * drawn))

    def _failed(self, trouble: str) -> None:
        self.failures += 1
        self.failed_ns = self.watch.clock.now_ns()
        self.watch.warn(PART, trouble)

    def _turn(self, target: Target) -> bool:
        """Send one window of commits, and results that are new; return whether more commits wait."""
        cursor, newest = self.store.outbox_cursor(self.server.name), self.store.newest_commit()
        upto = min(newest, cursor + WINDOW_COMMITS)
        self.behind = newest - cursor
        # What a failed turn chose is chosen again by the next one.
        sampler = self._sampler.ahead()
        waiting = {
            bench: [batch for one in _until(self.store.commits(bench, after=cursor), upto) for batch in one.batches]
            for bench in (self.store.benches() if upto > cursor else ())
        }
        self.oldest_ns = min((int(one.t_ns[0]) for batches in waiting.values() for one in batches), default=None)
        for bench, batches in waiting.items():
            self._send(target, sampler.rows(bench, self._bench(bench), batches))
        if upto > cursor:
            self.store.advance_outbox(self.server.name, upto)
            self._sampler = sampler
            self.behind = newest - upto
            if not self.behind:
                self.oldest_ns = None
        TrialSender(self.store, self.server.name).send_changed(partial(self._send, target))
        return upto < newest

    def _send(self, target: Target, rows: Iterator[str]) -> None:
        rows = filter(None, rows)
        while portion := list(islice(rows, self._most_rows)):
            self._send_portion(target, portion)

    def _send_portion(self, target: Target, rows: Sequence[str]) -> None:
        """Send rows; halve what is too large, and single out what is refused."""
        try:
            target.send(rows)
            self.taken += len(rows)
        except TooLargeError:
            if len(rows) == 1:
                self._set_aside(rows[0], "it is too large for the server")
                return
            self._most_rows = max(1, min(self._most_rows, len(rows) // 2))
            self._halves(target, rows)
        except RefusedError as error:
            if len(rows) == 1:
                self._set_aside(rows[0], str(error))
                return
            # Some servers keep the good rows of a refused request and some do not: sent again, they replace themselves.
            self._halves(target, rows)

    def _halves(self, target: Target, rows: Sequence[str]) -> None:
        middle = len(rows) // 2
        self._send_portion(target, rows[:middle])
        self._send_portion(target, rows[middle:])

    def _set_aside(self, line: str, why: str) -> None:
        """Go on without a row that the server will never take; it stays in the store."""
        self.refused += 1
        if self.refused == 1:
            text = f"The time-series server refused a row for good, and goes on without it: {line[:200]} ({why})."
            self.store.add_notice(Notice(self.watch.clock.now_ns(), NoticeKind.ROW_REFUSED, text))
        LOG.warning("the server refused row %d for good: %s (%s)", self.refused, line[:300], why)

    def _bench(self, bench: str) -> Bench | None:
        """Return a bench with its calibrations: as it greeted, else as its last trial had it."""
        board = self.boards.get(bench)
        if board is not None and board.fitted is not None:
            return board.fitted
        texts = [trial.bench_text for trial in self.store.trials() if trial.bench == bench and trial.bench_text]
        try:
            return parse_bench(texts[-1]) if texts else None
        except (BenchError, TextError):
            return None


def _until(commits: Iterator[Commit], upto: int) -> Iterator[Commit]:
    for commit in commits:
        if commit.id > upto:
            return
        yield commit
