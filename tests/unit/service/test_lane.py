"""A lane beside another: what fails in one stays there. Whole burns side by side are a system test."""

import asyncio
import sqlite3
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from emberline.bench.bench_file import SerialPort, default_bench
from emberline.bench.calibration import Linear
from emberline.bench.channels import Role
from emberline.bench.mass_fit import KnownLoad, fit_mass
from emberline.curves.events import Phase
from emberline.links.arrivals import Arrival, DeviceChannel, Greeting, Restart
from emberline.links.link import LinkState, Take
from emberline.service import intake as intake_module
from emberline.service import supervisor as supervisor_module
from emberline.service.board import INGEST, Board
from emberline.service.clock import Clock
from emberline.service.errors import RequestError
from emberline.service.final_pass import Summaries
from emberline.service.follower import ApartFollower
from emberline.service.health import HealthWatch
from emberline.service.ingest import Ingest
from emberline.service.intake import IngestCounts
from emberline.service.lane import BenchSetting, Lane, Shared, lane_of
from emberline.service.rounds import Rounds
from emberline.service.sources import Places
from emberline.service.supervisor import OnFailure, Supervisor
from emberline.service.watch import Turn
from emberline.store.errors import StoreDamagedError
from emberline.store.store import Store
from emberline.trials.estimates import Estimates
from live_fixture import until
from unit.store.made_up import NOON_NS, batch


class MadeUpLink:
    """Hands on what a test gives it."""

    def __init__(self) -> None:
        self.state, self.trouble, self.greeting, self.discarded = LinkState.STREAMING, "", None, 0
        self.given: asyncio.Queue[Arrival | Exception] = asyncio.Queue()
        self.told: dict[str, int] = {}

    async def run(self, take: Take) -> None:
        while True:
            one = await self.given.get()
            if isinstance(one, Exception):
                raise one
            await take([one])

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        self.told.update(wanted)


class Silent:
    """A follower that finds nothing."""

    def of(self, _: str) -> "Silent":
        return self

    async def begin(self, _: object) -> None: ...

    async def turn(self) -> Turn:
        return Turn((), (), (), more=False, t_s=0.0, phase=Phase.WAITING, estimates=Estimates())


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intake_module, "TRY_AGAIN_S", 0.02)
    monkeypatch.setattr(supervisor_module, "RESTART_PAUSE_S", 0.02)


@pytest.fixture
async def shared(store: Store, tmp_path: Path) -> Shared:
    clock = Clock(10.0, NOON_NS, asyncio.get_running_loop().time())
    due = SimpleNamespace(put=lambda _: None, done=asyncio.Event().wait)
    follower, summaries = cast(ApartFollower, Silent()), cast(Summaries, due)
    ingest, supervisor, health = Ingest(store, clock), Supervisor(), HealthWatch(clock)
    return Shared(tmp_path, "UTC", store, clock, ingest, supervisor, Rounds(), follower, summaries, health)


@asynccontextmanager
async def lanes(shared: Shared, *names: str) -> AsyncIterator[dict[str, Lane]]:
    made = {}
    shared.supervisor.start(INGEST, shared.ingest.run, OnFailure.END)
    for name in names:
        setting = BenchSetting(name, Places(SerialPort("/dev/none")), default_bench([Role.MASS]))
        made[name] = Lane(setting, Board(name, shared.clock, IngestCounts()), shared, shared.store.pasts([name])[name])
        made[name].link = made[name].board.link = cast(Any, MadeUpLink())
        made[name].start()
    try:
        yield made
    finally:
        for lane in made.values():
            await lane.close()
        await shared.supervisor.stop(INGEST, 1.0)


def link(lane: Lane) -> MadeUpLink:
    return cast(MadeUpLink, lane.link)


async def test_a_link_that_fails_again_and_again_stops_no_other_lane(shared: Shared, store: Store) -> None:
    async with lanes(shared, "yard", "shed") as made:
        yard, shed = made["yard"], made["shed"]
        for number in range(8):
            link(yard).given.put_nowait(RuntimeError("a bug of the link"))
            link(shed).given.put_nowait(batch(10 * number, 10))
            await until(lambda: shed.board.counts.committed == 10 * (number + 1), "the other's readings")  # noqa: B023
        await until(lambda: "a bug of the link" in yard.board.document()["trouble"], "the trouble")
        assert "link of yard failed" in yard.health.health().why
        assert shed.board.document()["trouble"] == ""
        assert shared.supervisor.failure is None
        link(yard).given.put_nowait(batch(0, 10))
        await until(lambda: yard.board.counts.committed == 10, "its own readings, once the link works")
        await until(lambda: yard.board.document()["trouble"] == "", "the all-clear")
    assert len(list(store.batches("shed"))) == 8


async def test_readings_that_one_bench_cannot_store_are_kept_for_it_and_stop_no_other(
    shared: Shared, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with lanes(shared, "yard", "shed") as made:
        yard, shed = made["yard"], made["shed"]

        def fail(_: object) -> None:
            raise ValueError("a reading that nobody expected")

        with monkeypatch.context() as patch:
            patch.setattr(yard.board, "committed", fail)
            link(yard).given.put_nowait(batch(0, 10))
            await until(lambda: "nobody expected" in yard.board.document()["trouble"], "the trouble")
            link(shed).given.put_nowait(batch(0, 10))
            await until(lambda: link(shed).told == {"mass": 10}, "the other's acknowledgement")
        await until(lambda: yard.board.document()["trouble"] == "", "the all-clear")
        assert link(yard).told == {"mass": 10}
        assert shared.supervisor.failure is None


async def test_devices_of_one_id_on_two_benches_are_kept_apart(shared: Shared, store: Store) -> None:
    async with lanes(shared, "yard", "shed") as made:
        for lane in made.values():
            link(lane).given.put_nowait(batch(0, 10))
        await until(lambda: all(link(lane).told == {"mass": 10} for lane in made.values()), "both acknowledgements")
        assert [lane.board.counts.repeated for lane in made.values()] == [0, 0]
    for name in made:
        assert sum(map(len, store.batches(name))) == 10


async def test_a_damaged_store_is_everybodys(shared: Shared, monkeypatch: pytest.MonkeyPatch) -> None:
    def damaged(*_: object) -> None:
        raise StoreDamagedError("the file is damaged")

    async with lanes(shared, "yard") as made:
        monkeypatch.setattr(shared.store, "submit_commits", damaged)
        link(made["yard"]).given.put_nowait(batch(0, 10))
        async with asyncio.timeout(10.0):
            await shared.supervisor.failed.wait()
    assert isinstance(shared.supervisor.failure and shared.supervisor.failure.__cause__, StoreDamagedError)


async def test_a_greeting_fits_the_bench_and_a_restart_leaves_a_remark(shared: Shared, store: Store) -> None:
    channel = DeviceChannel("mass", "g", 0.1, 1.0, 0, calibrated=True)
    async with lanes(shared, "yard") as made:
        yard = made["yard"]
        link(yard).given.put_nowait(Greeting("dev", 1, "1.0", (channel,), 1.0, 5.0))
        await until(lambda: yard.board.fitted is not None, "the bench")
        link(yard).given.put_nowait(Restart("dev", 1, 2))
        link(yard).given.put_nowait(batch(0, 10))
        await until(lambda: bool(store.notes("yard")), "the remark")
        link(yard).given.put_nowait(Greeting("dev", 2, "1.0", (DeviceChannel("volume", "l", 0.1, 1.0, 0),), 1.0, 5.0))
        await until(lambda: "sends no mass" in yard.board.document()["trouble"], "what does not fit")


async def test_what_was_found_of_a_bench_holds_from_its_greeting_on_and_what_is_found_then_at_once(
    shared: Shared, store: Store
) -> None:
    fit = fit_mass([KnownLoad(load, 0.1, 1000.0 + 50.0 * load, 1.0) for load in (0.0, 800.0, 400.0, 0.0)])
    first = store.add_finding("yard", "mass", fit, "Ana")
    channel = DeviceChannel("mass", "g", 0.1, 0.02, 0)
    async with lanes(shared, "yard") as made:
        yard = made["yard"]
        link(yard).given.put_nowait(Greeting("dev", 1, "1.0", (channel,), 1.0, 5.0))
        await until(lambda: yard.board.fitted is not None, "the bench")
        assert yard.described is not None
        assert yard.board.fitted is not None
        assert yard.described.channels[0].calibration == Linear(0.0, 50.0)
        assert yard.board.fitted.channels[0].calibration == Linear(fit.zero_counts, fit.counts_per_g)
        yard.take_up(replace(first, number=2, found=replace(fit, counts_per_g=51.0)))
        assert yard.board.fitted.channels[0].calibration == Linear(fit.zero_counts, 51.0)
        assert [one.number for one in yard.board.fitted.channels[0].calibrated] == [2]


async def test_a_finding_that_cannot_be_read_is_told_and_stops_no_recording(shared: Shared, store: Store) -> None:
    fit = fit_mass([KnownLoad(load, 0.1, 1000.0 + 50.0 * load, 1.0) for load in (0.0, 800.0, 400.0, 0.0)])
    store.add_finding("yard", "mass", fit, "Ana")
    with closing(sqlite3.connect(store.path)) as connection, connection:
        connection.execute("UPDATE findings SET document = '{}'")
    async with lanes(shared, "yard") as made:
        assert "calibrate it anew" in made["yard"].board.document()["trouble"]
        link(made["yard"]).given.put_nowait(batch(0, 10))
        await until(lambda: store.newest_commit() > 0, "the readings")


def test_a_bench_is_named_where_there_are_several() -> None:
    yard, shed = cast(Lane, object()), cast(Lane, object())
    lanes = {"yard": yard}
    assert lane_of(lanes, None) is lane_of(lanes, "yard") is yard
    lanes["shed"] = shed
    assert lane_of(lanes, "shed") is shed
    with pytest.raises(RequestError, match="say which of shed, yard with --bench"):
        lane_of(lanes, None)
    with pytest.raises(RequestError, match="no bench 'barn'"):
        lane_of(lanes, "barn")
    for bench in (None, "yard"):
        with pytest.raises(RequestError, match="none has been heard of"):
            lane_of({}, bench)
