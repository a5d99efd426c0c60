"""A lane of the daemon: what it does for one bench, from its device to its trials.

Lanes share the store, the clock and the processes apart, and nothing else: what fails in one is told, tried again for
as long as it takes, and leaves the others alone. Only a store that is damaged ends them all.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from emberline.bench.bench_file import Bench
from emberline.bench.findings import Finding, with_findings
from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Arrival, Greeting, Lost, Missed, Restart, Unnumbered
from emberline.service.alarm_watch import EVERY_S as ALARMS_EVERY_S
from emberline.service.alarm_watch import AlarmWatch
from emberline.service.bench_fit import device_names, fitted_bench
from emberline.service.board import INGEST, LINK, Board
from emberline.service.clock import Clock
from emberline.service.errors import RequestError, ServiceError
from emberline.service.final_pass import Summaries
from emberline.service.follower import ApartFollower
from emberline.service.health import HealthWatch
from emberline.service.ingest import Ingest
from emberline.service.keeper import Keeper
from emberline.service.metrics import BenchFigures
from emberline.service.numbering import Numbering
from emberline.service.outlet import EVERY_S as OUTLET_EVERY_S
from emberline.service.outlet import Outlet
from emberline.service.rounds import Rounds
from emberline.service.sources import Places, make_links
from emberline.service.standing_file import StandingFile
from emberline.service.supervisor import OnFailure, Supervisor, Work
from emberline.service.unnumbered_in import UnnumberedIn
from emberline.store.past import Past
from emberline.store.records import CommitReceipt
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

KEEPER, BROKER, OUTLET = "trials", "broker", "outlet"
ALARMS, RECALL = "alarms", "recall"

LINK_LIMIT_S = 2.0
DRAIN_LIMIT_S = 4.0
OTHERS_LIMIT_S = 1.0
"""Parts of a shutdown, real seconds."""


@dataclass(frozen=True)
class BenchSetting:
    """A bench to record.

    Attributes:
        bench_id: Its id.
        places: Where its device is.
        bench: The bench file's bench, or None.
    """

    bench_id: str
    places: Places
    bench: Bench | None = None


@dataclass(frozen=True)
class Shared:
    """What all lanes of a daemon have in common.

    Attributes:
        folder: Data folder; it exists.
        zone: Name of the time zone in which a person reads times.
        store: The store.
        clock: The clock.
        ingest: Stores their readings.
        supervisor: Runs their tasks.
        rounds: Looks after them now and then.
        follower: Follows their records.
        summaries: Works out their summaries.
        health: Watches over them.
    """

    folder: Path
    zone: str
    store: Store
    clock: Clock
    ingest: Ingest
    supervisor: Supervisor
    rounds: Rounds
    follower: ApartFollower
    summaries: Summaries
    health: HealthWatch


class Lane:
    """One bench's lane.

    Attributes:
        bench_id: Id of the bench.
        board: What is known of it now.
        keeper: Its trials.
        ingest: Its way into the store.
        link: Its device.
        health: How its recording stands.
        described: The bench by its file and its device alone, a person's calibrations aside; None before a device came.
    """

    def __init__(self, setting: BenchSetting, board: Board, shared: Shared, past: Past) -> None:
        """Put the parts together; must be called within a running event loop."""
        bench_id, store, clock = setting.bench_id, shared.store, shared.clock
        self._bench = setting.bench
        self._past, self._findings = past, list(past.findings)
        self._shared = shared
        self.described: Bench | None = None
        self._standing = StandingFile(shared.folder, bench_id)
        self._closing = self._resumed = False
        self.bench_id = bench_id
        self.board = board
        self.health = shared.health.over(board)
        self.keeper = Keeper(
            store, bench_id, clock, board, shared.zone, shared.follower.of(bench_id), shared.summaries.put
        )
        self.ingest = shared.ingest.of(bench_id, board.counts, self._publish, partial(board.report, INGEST))
        self.link, self._broker = make_links(
            setting.places, shared.folder, bench_id, clock, device_names(setting.bench), self._standing
        )
        self._outlet: Outlet | None = None
        self._alarms = AlarmWatch(board, self.health, lambda: shared.health.disk, store.path)
        self._unnumbered = UnnumberedIn(Numbering(store, bench_id), self.ingest, board.counts)
        board.link = self.link
        if past.unread:
            # Told, and no reason to keep a reading from the disk.
            LOG.error("%s: %s; it is recorded without its calibrations", bench_id, past.unread)
            board.report("calibration", f"{past.unread}: calibrate it anew")

    def figures(self) -> BenchFigures:
        """Return its figures for a monitoring server, beside those of its health."""
        counts = self.board.counts
        alarms = self.board.alarms
        return BenchFigures(
            counts.held, self.link.discarded, counts.commits, alarms.standing(), alarms.unseen(), alarms.raised_so_far
        )

    def start(self) -> None:
        """Take up where an earlier run ended, and take readings in."""
        self._start(KEEPER, self._keep)
        self._enter(ALARMS, self._alarms.look, ALARMS_EVERY_S)
        self._start(RECALL, self._alarms.recall)
        self._start(LINK, lambda: self.link.run(self._take))
        if self._broker is not None:
            broker = self._broker
            self._outlet = Outlet(broker, self._shared.health, self.health)
            self._enter(OUTLET, self._outlet.look, OUTLET_EVERY_S)
            if broker is not self.link:
                self._start(BROKER, lambda: broker.run(self._take))

    async def close(self) -> None:
        """End in order: sources, last commits and acknowledgements, links, trials."""
        # The link's task is only told to take no more, so that the last commits can still be acknowledged through it.
        self._closing = True
        if not await self.ingest.emptied(DRAIN_LIMIT_S):
            LOG.error("the store did not take all readings of %s in time; they were not acknowledged", self.bench_id)
        self._shared.rounds.leave(self._name(OUTLET))
        if self._outlet is not None:
            self._outlet.close()
        await self._stop(LINK, LINK_LIMIT_S)
        await self._stop(BROKER, LINK_LIMIT_S)
        self._shared.rounds.leave(self._name(ALARMS))
        for part in (KEEPER, RECALL):
            await self._stop(part, OTHERS_LIMIT_S)
        self._standing.close()

    def forget_standing(self) -> None:
        """Have the device send all that it keeps."""
        self._standing.forget()

    async def finish_trial(self) -> str | None:
        """End the running trial, if there is one, wait for its summary and return the page's path."""
        await self.keeper.catch_up()
        if self.board.trial is not None:
            await self.keeper.end()
        await self._shared.summaries.done()
        return self.board.summary

    def _name(self, part: str) -> str:
        return f"{part} of {self.bench_id}"

    def _start(self, part: str, work: Work) -> None:
        self._shared.supervisor.start(self._name(part), work, OnFailure.PERSIST, partial(self.board.report, part))

    def _enter(self, part: str, look: Callable[[], None], every_s: float) -> None:
        self._shared.rounds.enter(self._name(part), look, every_s, partial(self.board.report, part))

    async def _stop(self, part: str, limit_s: float) -> None:
        await self._shared.supervisor.stop(self._name(part), limit_s)

    async def _keep(self) -> None:
        if not self._resumed:
            await self.keeper.resume(self._past)
            self._resumed = True
        await self.keeper.run()

    async def _take(self, arrivals: list[Arrival]) -> None:
        items: list[SampleBatch | Lost] = []
        unnumbered: dict[int, list[Unnumbered | Missed]] = {}
        for one in arrivals:
            if isinstance(one, Greeting):
                self._greeted(one)
            elif isinstance(one, Restart):
                LOG.warning("device %s restarted; its samples before and after are kept apart", one.device)
                self.keeper.remark(f"The device restarted (boot {one.old_boot} to {one.boot}).")
            elif isinstance(one, Unnumbered | Missed):
                unnumbered.setdefault(id(one.teller), []).append(replace(one, device=self._named(one.device)))
            elif isinstance(one, SampleBatch):
                items.append(one.of(self._named(one.device)))
            else:
                items.append(replace(one, device=self._named(one.device)))
        if items and not self._closing:
            await self.ingest.put(self.link, items)
        for message in unnumbered.values():
            if not self._closing:
                await self._unnumbered.take(message)

    def _named(self, device: str) -> str:
        """Name a device by its bench as well: boards that were given the same program often have the same id."""
        return f"{self.bench_id}/{device}"

    def _greeted(self, greeting: Greeting) -> None:
        LOG.info("device %s (firmware %s) greets", greeting.device, greeting.firmware)
        try:
            bench = fitted_bench(self._bench, greeting)
        except ServiceError as error:
            # Its readings are kept all the same: a corrected bench file can make sense of them later.
            LOG.error("%s: %s", self.bench_id, error)
            self.board.report("bench", str(error))
            return
        self.board.report("bench", "")
        self.described = bench
        self._fit(bench)

    def take_up(self, finding: Finding) -> None:
        """Have what a person's calibration found hold from now on."""
        self._findings.append(finding)
        if self.described is not None:
            self._fit(self.described)

    def _fit(self, described: Bench) -> None:
        bench = with_findings(described, self._findings)
        self.board.fitted = bench
        self.keeper.fit(bench)

    def _publish(self, receipt: CommitReceipt) -> None:
        self.board.committed(receipt)
        self.keeper.added_to(receipt.added_to)
        self.keeper.nudge(max((int(batch.t_ns[-1]) for batch in receipt.stored), default=None))


def lane_of(lanes: Mapping[str, Lane], bench: str | None) -> Lane:
    """Return the lane of a bench; without an id, that of the only one.

    Raises:
        RequestError: There is none, or there are several.
    """
    names = ", ".join(sorted(lanes))
    if not lanes:
        raise RequestError("no bench is recorded here yet: none has been heard of")
    if bench is None:
        if len(lanes) > 1:
            raise RequestError(f"several benches are recorded here: say which of {names} with --bench")
        return next(iter(lanes.values()))
    if bench not in lanes:
        raise RequestError(f"no bench {bench!r} is recorded here, but {names}")
    return lanes[bench]
