"""The daemon: a lane for each bench over one store, started in order and stopped in the order that loses nothing."""

import asyncio
import contextlib
import logging
import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from emberline.service.alarm_book import AlarmBook
from emberline.service.board import INGEST, Board
from emberline.service.calibrating import Calibrations
from emberline.service.clock import Clock
from emberline.service.clock_watch import ClockWatch
from emberline.service.control import Control
from emberline.service.delivery.courier import Courier
from emberline.service.delivery.delivery_file import Delivery
from emberline.service.delivery.ways import Way
from emberline.service.desk import Desk
from emberline.service.final_pass import FinalPass, Summaries
from emberline.service.follower import ApartFollower
from emberline.service.forwarding.forwarder import Forwarder
from emberline.service.guide import Guides
from emberline.service.health import HealthWatch
from emberline.service.health_loop import HealthLoop, commit_p99_s
from emberline.service.health_notify import Notifier
from emberline.service.heaps import leave_alone_what_stands, leaving_alone_what_stands, look_as_often_as_suits
from emberline.service.housekeeping import Housekeeping
from emberline.service.ingest import Ingest
from emberline.service.intake import IngestCounts
from emberline.service.inventory import Inventory
from emberline.service.keeper import Keeper
from emberline.service.lane import OTHERS_LIMIT_S, BenchSetting, Lane, Shared
from emberline.service.metrics import Figures
from emberline.service.rounds import Rounds
from emberline.service.supervisor import OnFailure, Supervisor, Work
from emberline.store.past import Past
from emberline.store.store import Store
from emberline.store.upkeep import KEEP_DAYS

LOG = logging.getLogger(__name__)

SUMMARIES, CONTROL, DESK, FOLLOWING = "summaries", "control", "desk", "following"
LAG, BESIDE, HEALTH, HOUSEKEEPING = "loop lag", "beside", "health", "housekeeping"
STANDING = "what stands"
ALARM_BOOK, ROUNDS = "alarm book", "rounds"

LAG_ALARM_S = 0.1
LAG_EVERY_S = 0.25
TAKEN_UP_S = 10
"""Time without another bench after which those that came have taken up what they need, real seconds."""
STORE_LIMIT_S = 1.0
"""Longest wait for the store to close, real seconds."""


@dataclass(frozen=True)
class Setting:
    """What a daemon works on.

    Attributes:
        folder: Data folder; it exists.
        benches: The benches to record; each id once.
        zone: Name of the time zone in which a person reads times.
        keep_days: Age at which samples outside trials go; None keeps all.
        delivery: How often alarms are delivered.
        ways: By what they are.
    """

    folder: Path
    benches: tuple[BenchSetting, ...]
    zone: str
    keep_days: float | None = KEEP_DAYS
    delivery: Delivery = field(default_factory=Delivery)
    ways: Sequence[Way] = ()


class Daemon:
    """The daemon of one data folder.

    Attributes:
        boards: What is known of each bench now, by id.
        lanes: What it does for each bench, by id.
        store: Where everything is kept.
        summaries: Works out the summaries of all of them.
        desk: Takes a person's corrections of trials.
        inventory: Fuel lots, pots and stoves.
        guides: The guided burns of the benches.
        health: How the recording stands.
        again: Set where it has ended in order to be started again with the wall clock's new time.
        worst_lag_s: Longest time for which its event loop was held up, seconds.
        couriers: Deliver its alarms.
        forwarding: What forwards its readings to a time-series server; None where nothing does.
    """

    def __init__(self, setting: Setting, store: Store, clock: Clock, final_pass: FinalPass) -> None:
        """Put the parts together; must be called within a running event loop.

        Args:
            setting: What to work on.
            store: The open store; `run` closes it.
            clock: The clock.
            final_pass: Works out summaries in a process of its own.
        """
        self.boards: dict[str, Board] = {}
        self.lanes: dict[str, Lane] = {}
        self.store = store
        self._supervisor = Supervisor()
        self._stopping = asyncio.Event()
        self._follower = ApartFollower(store.path)
        self.summaries = Summaries(store, self.boards, final_pass)
        self.health = HealthWatch(clock)
        self._ingest, self._rounds = Ingest(store, clock), Rounds()
        self._shared = Shared(
            setting.folder,
            setting.zone,
            store,
            clock,
            self._ingest,
            self._supervisor,
            self._rounds,
            self._follower,
            self.summaries,
            self.health,
        )
        self._keepers: dict[str, Keeper] = {}
        self._counts: list[IngestCounts] = []
        self.desk = Desk(store, clock, self._keepers, self.summaries.put, self.summaries.works_on)
        self.inventory = Inventory(store)
        self.guides = Guides(store, self.lanes, self.desk, self.inventory, self.health)
        self.again = False
        self.worst_lag_s = 0.0
        self.forwarding: Forwarder | None = None
        self._book = AlarmBook(store)
        self.couriers = [
            Courier(
                way,
                setting.zone,
                setting.delivery.again_s,
                setting.delivery.longest_again_s,
                partial(self.health.warn, f"alarms by {way.name}"),
            )
            for way in setting.ways
        ]
        pasts = store.pasts(one.bench_id for one in setting.benches)
        for one in setting.benches:
            self._enter(one, pasts[one.bench_id])
        self._notifier = Notifier(os.environ)
        self._control = Control(
            setting.folder,
            self.lanes,
            self.health,
            store,
            guides=self.guides,
            calibrations=Calibrations(store, self.summaries.put),
        )
        self._housekeeping = Housekeeping(store, clock, self.health, setting.keep_days)
        self._health_loop = HealthLoop(
            store,
            self.health,
            ClockWatch(clock),
            self._notifier,
            self._counts,
            self._ingest.durations_s,
            self._take_up_time,
            lambda error: self._supervisor.fail(HEALTH, error),
        )

    def _enter(self, setting: BenchSetting, past: Past) -> Lane:
        """Take up a bench; its lane has yet to be started."""
        board = Board(setting.bench_id, self._shared.clock, IngestCounts())
        board.alarms.listeners += [self._book.take, *(courier.take for courier in self.couriers)]
        lane = Lane(setting, board, self._shared, past)
        self.boards[setting.bench_id], self.lanes[setting.bench_id] = board, lane
        self._keepers[setting.bench_id] = lane.keeper
        self._counts.append(board.counts)
        return lane

    async def add(self, settings: Sequence[BenchSetting]) -> list[str]:
        """Record more benches from now on; return their ids: none where the daemon ends.

        Args:
            settings: Benches that are not recorded yet, each once.

        Raises:
            StoreError: What is stored of them cannot be read.
        """
        pasts = await asyncio.to_thread(self.store.pasts, [one.bench_id for one in settings])
        if self._stopping.is_set():
            return []
        for one in settings:
            self._enter(one, pasts[one.bench_id]).start()
        return list(pasts)

    def stop(self) -> None:
        """Have `run` end."""
        self._stopping.set()

    def figures(self, version: str) -> Figures:
        """Return the figures for a monitoring server; `version` is that of the software."""
        return Figures(
            health=self.health.health(),
            version=version,
            benches={name: lane.figures() for name, lane in self.lanes.items()},
            commit_s=commit_p99_s(self._ingest.durations_s),
            lag_s=self.worst_lag_s,
            tasks=len(self._supervisor.names()),
            forwarding=self.forwarding,
            couriers=self.couriers,
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
            start(FOLLOWING, self._follower.run, OnFailure.PERSIST)
            start(INGEST, self._ingest.run, OnFailure.END)
            start(ROUNDS, self._rounds.run, OnFailure.PERSIST)
            for lane in self.lanes.values():
                lane.start()
            start(DESK, self.desk.resume, OnFailure.PERSIST)
            start(CONTROL, self._control.run)
            start(LAG, self._measure_lag)
            start(STANDING, self._leave_alone)
            start(HEALTH, self._health_loop.run)
            start(HOUSEKEEPING, self._housekeeping.run)
            start(ALARM_BOOK, self._book.run)
            for courier in self.couriers:
                start(f"alarms by {courier.way.name}", courier.run)
            for name, work in (also or {}).items():
                start(name, work)
            if beside is not None:
                start(BESIDE, lambda: self._accompany(beside), OnFailure.END)
            with leaving_alone_what_stands():
                await self._stopped()
        finally:
            await self._shut_down(tuple(also or ()))
        if self.again:
            for lane in self.lanes.values():
                lane.forget_standing()
        if self._supervisor.failure is not None:
            raise self._supervisor.failure

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
        open_trials = [lane for lane in self.lanes.values() if lane.board.trial is not None]
        if not open_trials and not self._stopping.is_set():
            LOG.warning("no trial is open: the machine's new time is taken up")
            self.again = True
            self.stop()

    async def _shut_down(self, also: tuple[str, ...]) -> None:
        supervisor = self._supervisor
        if not self.again and supervisor.failure is None:
            # A service manager that has been told of an end waits for it, and allows no new beginning.
            self._notifier.stopping()
        for name in (HEALTH, HOUSEKEEPING, BESIDE, CONTROL, DESK, *also):
            await supervisor.stop(name, OTHERS_LIMIT_S)
        self._stopping.set()
        async with asyncio.TaskGroup() as group:
            for lane in self.lanes.values():
                group.create_task(lane.close(), name=f"end of {lane.bench_id}")
        await self._book.done(OTHERS_LIMIT_S)
        couriers = (f"alarms by {one.way.name}" for one in self.couriers)
        for name in (INGEST, ROUNDS, FOLLOWING, SUMMARIES, LAG, STANDING, ALARM_BOOK, *couriers):
            await supervisor.stop(name, OTHERS_LIMIT_S)
        await self._follower.close()
        try:
            async with asyncio.timeout(STORE_LIMIT_S):
                await asyncio.to_thread(self.store.close)
        except TimeoutError:
            LOG.error("the store did not close within %.0f s", STORE_LIMIT_S)

    async def _leave_alone(self) -> None:
        """Leave benches alone, when looking for what is to be freed, from the first seconds of their taking up on."""
        benches = seconds = 0
        while True:
            await asyncio.sleep(1.0)
            if len(self.lanes) != benches:
                benches, seconds = len(self.lanes), TAKEN_UP_S
                look_as_often_as_suits(benches)
            if seconds:
                seconds -= 1
                leave_alone_what_stands()

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
