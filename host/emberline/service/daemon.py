"""The daemon of one bench: its parts, started in order and stopped in the order that loses nothing."""

import asyncio
import contextlib
import logging
import os
import signal
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from emberline.bench.bench_file import Bench
from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Arrival, Greeting, Lost, Restart, Unnumbered
from emberline.service.bench_fit import device_names, fitted_bench
from emberline.service.board import Board
from emberline.service.clock import Clock
from emberline.service.clock_watch import ClockWatch
from emberline.service.control import Control
from emberline.service.errors import ServiceError
from emberline.service.final_pass import FinalPass, Summaries
from emberline.service.follower import ApartFollower
from emberline.service.health import HealthWatch
from emberline.service.health_loop import HealthLoop, commit_p99_s
from emberline.service.health_notify import Notifier
from emberline.service.housekeeping import Housekeeping
from emberline.service.ingest import Ingest, IngestCounts
from emberline.service.keeper import Keeper
from emberline.service.metrics import Figures
from emberline.service.numbering import Numbering
from emberline.service.outlet import Outlet
from emberline.service.sources import Places, make_links
from emberline.service.standing_file import StandingFile
from emberline.service.supervisor import OnFailure, Supervisor, Work
from emberline.service.unnumbered_in import UnnumberedIn
from emberline.store.records import CommitReceipt
from emberline.store.store import Store
from emberline.store.upkeep import KEEP_DAYS

LOG = logging.getLogger(__name__)

LINK, INGEST, KEEPER, SUMMARIES, CONTROL = "link", "ingest", "trials", "summaries", "control"
LAG, BESIDE, HEALTH, HOUSEKEEPING = "loop lag", "beside", "health", "housekeeping"
BROKER, OUTLET = "broker", "outlet"

LAG_ALARM_S = 0.1
LAG_EVERY_S = 0.25
LINK_LIMIT_S = 2.0
DRAIN_LIMIT_S = 4.0
OTHERS_LIMIT_S = 1.0
STORE_LIMIT_S = 1.0
"""Parts of a shutdown, real seconds; together at most ten."""


@dataclass(frozen=True)
class Setting:
    """What a daemon works on.

    Attributes:
        folder: Data folder; it exists.
        bench: The bench file's bench, or None.
        bench_id: Id of the bench.
        places: Where its device is.
        zone: Name of the time zone in which a person reads times.
        keep_days: Age at which samples outside trials go; None keeps all.
    """

    folder: Path
    bench: Bench | None
    bench_id: str
    places: Places
    zone: str
    keep_days: float | None = KEEP_DAYS


class Daemon:
    """One bench's daemon.

    Attributes:
        board: What is known now.
        keeper: Its trials.
        summaries: Its summaries.
        ingest: Its way into the store.
        link: Its device.
        health: How its recording stands.
        again: Set where it has ended in order to be started again with the wall clock's new time.
    """

    def __init__(self, setting: Setting, store: Store, clock: Clock, final_pass: FinalPass) -> None:
        """Put the parts together; must be called within a running event loop.

        Args:
            setting: What to work on.
            store: The open store; `run` closes it.
            clock: The clock.
            final_pass: Works out summaries in a process of its own.
        """
        bench_id = setting.bench_id
        counts = IngestCounts()
        standing = StandingFile(setting.folder, bench_id)
        self._setting = setting
        self._store = store
        self._clock = clock
        self._supervisor = Supervisor()
        self._stopping = asyncio.Event()
        self.board = Board(bench_id, clock, counts)
        self.summaries = Summaries(store, bench_id, self.board, final_pass)
        self._follower = ApartFollower(store.path)
        self.keeper = Keeper(store, bench_id, clock, self.board, setting.zone, self._follower, self.summaries.put)
        self.ingest = Ingest(store, bench_id, clock, self._publish, counts)
        self.link, self._broker = make_links(
            setting.places, setting.folder, bench_id, clock, device_names(setting.bench), standing
        )
        self._unnumbered = UnnumberedIn(Numbering(store, bench_id), self.ingest, counts)
        self.board.link = self.link
        self.health = HealthWatch(self.board, clock)
        self.again = False
        self.worst_lag_s = 0.0
        self._standing = standing
        self._notifier = Notifier(os.environ)
        self._control = Control(setting.folder, self.board, self.keeper, self.health)
        self._housekeeping = Housekeeping(store, clock, self.health, setting.keep_days)
        self._health_loop = HealthLoop(
            store,
            self.health,
            ClockWatch(clock),
            self._notifier,
            counts,
            self._take_up_time,
            lambda error: self._supervisor.fail(HEALTH, error),
        )

    def stop(self) -> None:
        """Have `run` end."""
        self._stopping.set()

    def figures(self, version: str) -> Figures:
        """Return the figures for a monitoring server; `version` is that of the software."""
        counts = self.board.counts
        return Figures(
            health=self.health.health(),
            version=version,
            held=counts.held,
            discarded=self.link.discarded,
            commits=counts.commits,
            commit_s=commit_p99_s(counts.durations_s),
            lag_s=self.worst_lag_s,
            tasks=len(self._supervisor.names()),
        )

    async def run(self, beside: Work | None = None, also: Mapping[str, Work] | None = None) -> None:
        """Work until stopped, then end in order: sources, last commits and acknowledgements, links, store.

        Args:
            beside: Runs beside the daemon, which stops when it returns.
            also: Work by name that lasts as long as the daemon.

        Raises:
            TaskFailedError: A part failed for good; everything that had arrived was stored all the same.
        """
        start = self._supervisor.start
        start(SUMMARIES, self.summaries.run)
        try:
            await self._follower.start()
            await self.keeper.resume()
            start(INGEST, self.ingest.run, OnFailure.END)
            start(KEEPER, self.keeper.run)
            start(CONTROL, self._control.run)
            start(LAG, self._measure_lag)
            start(HEALTH, self._health_loop.run)
            start(HOUSEKEEPING, self._housekeeping.run)
            for name, work in (also or {}).items():
                start(name, work)
            start(LINK, lambda: self.link.run(self._take))
            if self._broker is not None:
                broker, outlet = self._broker, Outlet(self._broker, self.board, self.health)
                start(OUTLET, outlet.run)
                if broker is not self.link:
                    start(BROKER, lambda: broker.run(self._take))
            if beside is not None:
                start(BESIDE, lambda: self._accompany(beside), OnFailure.END)
            await self._stopped()
        finally:
            await self._shut_down(tuple(also or ()))
        if self.again:
            self._standing.forget()
        if self._supervisor.failure is not None:
            raise self._supervisor.failure

    async def finish_trial(self) -> str | None:
        """End the running trial, if there is one, wait for its summary and return the page's path."""
        await self.keeper.catch_up()
        if self.board.trial is not None:
            await self.keeper.end()
        await self.summaries.done()
        return self.board.summary

    async def _accompany(self, beside: Work) -> None:
        await beside()
        self.stop()

    async def _stopped(self) -> None:
        """Wait for a request to stop, or for a part to fail for good."""
        async with asyncio.TaskGroup() as group:
            waits = [group.create_task(self._stopping.wait()), group.create_task(self._supervisor.failed.wait())]
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
            for wait in waits:
                wait.cancel()

    def _take_up_time(self) -> None:
        """End in order to be started again with the wall clock's time, unless a trial is open."""
        if self.board.trial is None and not self._stopping.is_set():
            LOG.warning("no trial is open: the machine's new time is taken up")
            self.again = True
            self.stop()

    async def _shut_down(self, also: tuple[str, ...]) -> None:
        supervisor = self._supervisor
        if not self.again and supervisor.failure is None:
            # A service manager that has been told of an end waits for it, and allows no new beginning.
            self._notifier.stopping()
        for name in (HEALTH, HOUSEKEEPING, BESIDE, CONTROL, *also):
            await supervisor.stop(name, OTHERS_LIMIT_S)
        # The link's task is only told to take no more, so that the last commits can still be acknowledged through it.
        self._stopping.set()
        await self.ingest.close()
        if not await supervisor.ended(INGEST, DRAIN_LIMIT_S):
            # What the store does not take in time was not acknowledged, and comes again.
            await supervisor.stop(INGEST, OTHERS_LIMIT_S)
        await supervisor.stop(OUTLET, OTHERS_LIMIT_S)
        await supervisor.stop(LINK, LINK_LIMIT_S)
        await supervisor.stop(BROKER, LINK_LIMIT_S)
        for name in (KEEPER, SUMMARIES, LAG):
            await supervisor.stop(name, OTHERS_LIMIT_S)
        await self._follower.close()
        try:
            async with asyncio.timeout(STORE_LIMIT_S):
                await asyncio.to_thread(self._store.close)
        except TimeoutError:
            LOG.error("the store did not close within %.0f s", STORE_LIMIT_S)

    async def _take(self, arrivals: list[Arrival]) -> None:
        items: list[SampleBatch | Lost] = []
        unnumbered: dict[int, list[Unnumbered]] = {}
        for one in arrivals:
            if isinstance(one, Greeting):
                self._greeted(one)
            elif isinstance(one, Restart):
                LOG.warning("device %s restarted; its samples before and after are kept apart", one.device)
                self.keeper.remark(f"The device restarted (boot {one.old_boot} to {one.boot}).")
            elif isinstance(one, Unnumbered):
                unnumbered.setdefault(id(one.teller), []).append(one)
            else:
                items.append(one)
        if items and not self._stopping.is_set():
            await self.ingest.put(self.link, items)
        for message in unnumbered.values():
            if not self._stopping.is_set():
                await self._unnumbered.take(message)

    def _greeted(self, greeting: Greeting) -> None:
        LOG.info("device %s (firmware %s) greets", greeting.device, greeting.firmware)
        try:
            bench = fitted_bench(self._setting.bench, greeting)
        except ServiceError as error:
            # Its readings are kept all the same: a corrected bench file can make sense of them later.
            LOG.error("%s", error)
            self.board.report("bench", str(error))
            return
        self.board.report("bench", "")
        self.board.fitted = bench
        self.keeper.fit(bench)

    def _publish(self, receipt: CommitReceipt) -> None:
        self.board.committed(receipt)
        self.keeper.nudge(max((int(batch.t_ns[-1]) for batch in receipt.stored), default=None))

    async def _measure_lag(self) -> None:
        """Watch for anything that holds up the event loop; told once, and again when it is twice as bad."""
        loop = asyncio.get_running_loop()
        told_s = LAG_ALARM_S / 2.0
        while True:
            before = loop.time()
            await asyncio.sleep(LAG_EVERY_S)
            lag_s = loop.time() - before - LAG_EVERY_S
            self.worst_lag_s = max(self.worst_lag_s, lag_s)
            if lag_s > 2.0 * told_s:
                told_s = lag_s
                LOG.warning("the event loop was held up for %.0f ms", 1000.0 * lag_s)


@contextlib.contextmanager
def stopped_by_signals(daemon: Daemon, stopping: Callable[[], None] = lambda: None) -> Iterator[None]:
    """Let SIGINT and SIGTERM stop a daemon in order; `stopping` is called when one comes."""

    def stop() -> None:
        stopping()
        daemon.stop()

    loop = asyncio.get_running_loop()
    numbers = (signal.SIGINT, signal.SIGTERM)
    for number in numbers:
        with contextlib.suppress(NotImplementedError):  # where the system has no such signals for event loops
            loop.add_signal_handler(number, stop)
    try:
        yield
    finally:
        for number in numbers:
            with contextlib.suppress(NotImplementedError):
                loop.remove_signal_handler(number)
