"""A bench that a person calibrates: its readings as they are stored, and its findings; a daemon records meanwhile."""

import asyncio
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from emberline.app.live import serve
from emberline.app.stored import STORE_NAME, find_trial
from emberline.app.summaries import summary_of
from emberline.bench.air import Place, boiling_point
from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.calibration import Linear
from emberline.bench.channels import Channel, Role
from emberline.bench.drift_fit import DriftFit
from emberline.bench.errors import CalibrationError
from emberline.bench.findings import CellCheck, Finding, Found, corrected, found_document, kind_of, with_findings
from emberline.bench.mass_fit import MassFit, expect_like_before, expect_masses, fit_mass
from emberline.bench.probe_fit import MOST_OFF_C, Bath, true_temperature
from emberline.bench.samples import FLAG_FAULT
from emberline.service.calibrating import recalibrate
from emberline.service.control_client import ask
from emberline.service.errors import NoDaemonError, RequestError
from emberline.service.scale_tail import ScaleTail
from emberline.store.curves import curves_of
from emberline.store.reader import StoreReader
from emberline.store.store import Store
from emberline.trials.calibrating.bath import BathWatch
from emberline.trials.calibrating.load_steps import LoadSteps
from emberline.trials.calibrating.warm_up import drift_of
from emberline.trials.guide.checks import known_words

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon

T = TypeVar("T")

LOOK_S = 0.2
"""Pause between two looks at the readings, real seconds."""
GREETING_LIMIT_S = 60.0
SILENCE_LIMIT_S = 30.0
"""Longest wait for a device's greeting, and for new readings, real seconds."""


@dataclass(frozen=True)
class Where:
    """Where a bench is that nobody records yet.

    Attributes:
        bench_file: Its bench file, or None.
        port: Its serial port, instead of the bench file's.
        broker: Its MQTT broker, instead of the bench file's.
        speed: Seconds of the bench in a second; more than 1 only for a simulated one.
    """

    bench_file: Path | None = None
    port: str | None = None
    broker: str | None = None
    speed: float = 1.0

    @property
    def named(self) -> bool:
        """Whether there is anything to open."""
        return (self.bench_file, self.port, self.broker) != (None, None, None)


class Session:
    """A bench to calibrate; a daemon records it."""

    def __init__(self, data: Path, bench: str | None, over: threading.Event) -> None:
        """Wait for the bench's device.

        Raises:
            ServiceError: No daemon runs there, it knows no such bench, or no device came.
        """
        self._data, self._asked, self._over = data, bench, over
        answer = self._described()
        self.bench_id = str(answer["id"])
        self._bench, self._trial = parse_bench(str(answer["bench"])), answer["trial"]
        self.store = StoreReader(data / STORE_NAME)
        self._tail = ScaleTail(self.store, self.bench_id)
        self._newest_ns, self._news_s = 0, time.monotonic()

    @property
    def bench(self) -> Bench:
        """The bench with everything that was found so far."""
        return with_findings(self._bench, self.findings)

    @property
    def findings(self) -> list[Finding]:
        """What was found so far, the oldest first."""
        return self.store.findings(self.bench_id)

    def channel(self, role: Role) -> Channel:
        """Return the channel of a role.

        Raises:
            RequestError: The bench has none.
        """
        channel = self.bench.by_role(role)
        if channel is None:
            roles = ", ".join(one.role.value for one in self._bench.channels)
            raise RequestError(f"bench {self.bench_id} has no channel of role {role.value}, but {roles}")
        return channel

    def expect_no_trial(self) -> None:
        """Check that nothing burns, before a person does what would be refused in the end.

        Raises:
            RequestError: A trial is open.
        """
        if self._trial is not None:
            raise RequestError(f"trial {self._trial} is open: end it first (`emberline end`)")

    def look(self) -> int:
        """Take in what was stored since the last look, after a short wait; return the time of the newest reading.

        Raises:
            RequestError: Nothing new comes, or the command was interrupted.
        """
        time.sleep(LOOK_S)
        if self._over.is_set():
            raise RequestError("interrupted: nothing was changed")
        newest_ns = self.store.newest_ns(self.bench_id) or 0
        if newest_ns > self._newest_ns:
            self._newest_ns, self._news_s = newest_ns, time.monotonic()
            self._tail.read(newest_ns)
        elif time.monotonic() - self._news_s > SILENCE_LIMIT_S:
            raise RequestError(f"no reading came for {SILENCE_LIMIT_S:.0f} s: see that the device is connected")
        return newest_ns

    def raw(self, channel: Channel) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Return times (UTC nanoseconds) and newest counts of a channel, NaN for faults."""
        batch = self._tail.raw(channel.name)
        if batch is None:
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        return batch.t_ns, np.where(batch.flags & FLAG_FAULT, np.nan, batch.raw)

    def uncorrected(self, channel: Channel) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Return times and newest temperatures of a probe, without any correction."""
        bare = replace(channel, calibration=corrected(channel.calibration, 0.0))
        bench = replace(
            self._bench, channels=tuple(bare if one.role is bare.role else one for one in self._bench.channels)
        )
        found = self._tail.readings(bench).get(channel.role)
        return (np.zeros(0, dtype=np.int64), np.zeros(0)) if found is None else (found.t_ns, found.value)

    def newest(self, role: Role) -> float | None:
        """Return the median of a role's newest readings; None without any."""
        found = self._tail.readings(self.bench).get(role)
        return None if found is None or not np.isfinite(found.value).any() else float(np.nanmedian(found.value))

    def keep(self, channel: Channel, found: Found, who: str) -> int:
        """Have what was found kept, and return its number.

        Raises:
            ServiceError: It is refused.
        """
        request = {"do": "calibrate", "bench": self.bench_id, "channel": channel.name, "kind": kind_of(found).value}
        return int(ask(self._data, {**request, "who": who, "found": found_document(found)})["number"])

    def _described(self) -> dict[str, object]:
        stop_s = time.monotonic() + GREETING_LIMIT_S
        while True:
            try:
                return ask(self._data, {"do": "bench", "bench": self._asked})
            except RequestError as error:
                if "greeted" not in str(error) or time.monotonic() > stop_s or self._over.is_set():
                    raise
            time.sleep(LOOK_S)


def on_bench(data: Path, bench: str | None, where: Where, work: Callable[[Session], T]) -> T:
    """Do something with a bench: with the daemon that records it, or with one that runs meanwhile.

    Args:
        data: Data directory.
        bench: Id of the bench, where several are recorded.
        where: Where the bench is, for a daemon to open; where nothing is named, one runs already.
        work: What is done; called in a thread of its own where a daemon is started for it.

    Raises:
        ServiceError: No daemon runs there, or no reading comes.
        CalibrationError: What was done was refused.
    """
    if not where.named:
        return work(Session(data, bench, threading.Event()))
    done: list[T] = []
    failed: list[Exception] = []

    async def beside(_: "Daemon") -> None:
        over = threading.Event()

        def do() -> None:
            try:
                done.append(work(Session(data, bench, over)))
            except Exception as error:  # noqa: BLE001 handed on below, where the command tells it
                failed.append(error)

        try:
            await asyncio.to_thread(do)
        finally:
            over.set()

    files = () if where.bench_file is None else (where.bench_file,)
    asyncio.run(serve(data, bench_files=files, port=where.port, broker=where.broker, speed=where.speed, beside=beside))
    if failed:
        raise failed[0]
    if not done:
        raise RequestError("interrupted: nothing was changed")
    return done[0]


Tell = Callable[[LoadSteps], None]
"""Is shown how far the loads are, again and again."""


def weigh(
    session: Session, role: Role, masses_g: Sequence[float], u_masses_g: Sequence[float], tell: Tell
) -> LoadSteps:
    """Take known loads one after the other, as they are laid on.

    Raises:
        CalibrationError: The masses are no good, or what the cell shows is not; says why.
    """
    channel = session.channel(role)
    expect_masses(masses_g, channel.capacity_g)
    steps = LoadSteps(masses_g, u_masses_g, channel.calibration)
    tell(steps)
    while not steps.done:
        session.look()
        steps.look(*session.raw(channel))
        tell(steps)
    return steps


def calibrated_mass(session: Session, role: Role, steps: LoadSteps, *, new_cell: bool) -> MassFit:
    """Return what known loads say of a load cell.

    Raises:
        CalibrationError: They say nothing sensible, or something else than before.
    """
    fit = fit_mass(steps.loads)
    channel = session.channel(role)
    if isinstance(channel.calibration, Linear) and not new_cell:
        measured = any(one.kind == "mass" for one in channel.calibrated)
        expect_like_before(fit, channel.calibration.counts_per_unit, measured=measured)
    return fit


def checked_mass(session: Session, role: Role, steps: LoadSteps) -> tuple[CellCheck, str]:
    """Return what a known mass says of a load cell as it is calibrated now, and how to say it.

    Raises:
        CalibrationError: The cell is not calibrated.
    """
    channel = session.channel(role)
    if not isinstance(channel.calibration, Linear):
        raise CalibrationError("this cell is not calibrated yet: `emberline calibrate mass` does that")
    slope = channel.calibration.counts_per_unit
    empty, known, back = steps.loads
    shown_g = (known.counts - 0.5 * (empty.counts + back.counts)) / slope
    u_counts = float(np.sqrt(known.u_counts**2 + 0.25 * (empty.u_counts**2 + back.u_counts**2)))
    # The zero may have moved anyhow between the two looks at it: rectangular (JCGM 100:2008, 4.3.7).
    u_shown_g = float(np.hypot(u_counts, 0.5 * (back.counts - empty.counts) / 3.0**0.5)) / abs(slope)
    words, in_doubt = known_words(shown_g, u_shown_g, known.load_g, known.u_load_g, channel)
    return CellCheck(known.load_g, known.u_load_g, shown_g, u_shown_g, in_doubt), words


def held_in(session: Session, role: Role, bath: str, place: Place, tell: Callable[[BathWatch], None]) -> Bath:
    """Compare a probe with a bath, once it has settled.

    Raises:
        CalibrationError: It never settled.
    """
    channel = session.channel(role)
    true_c, u_true_c = true_temperature(bath, boiling_here(session, place))
    watch = BathWatch(channel.resolution)
    while watch.mean_c is None:
        session.look()
        watch.look(*session.uncorrected(channel), true_c, MOST_OFF_C)
        tell(watch)
    return Bath(bath, watch.mean_c, watch.u_mean_c, true_c, u_true_c)


def boiling_here(session: Session, place: Place) -> UFloat:
    """Return the local boiling point: by the pressure that a person gives, else that which the bench measures."""
    barometer = session.bench.by_role(Role.PRESSURE)
    if place == Place() and barometer is not None:
        pressure_pa = session.newest(Role.PRESSURE)
        if pressure_pa is not None:
            place = Place(pressure_pa=ufloat(pressure_pa, barometer.u_bias))
    return boiling_point(place)


def drifted(session: Session, role: Role, start_ns: int, end_ns: int) -> DriftFit:
    """Return what a stretch of the record says of a load cell's drift with its temperature.

    Raises:
        CalibrationError: It says nothing sensible; says why.
    """
    channels = {one.role: one for one in session.bench.channels if one.role in (role, Role.CELL_TEMPERATURE)}
    batches = session.store.batches(session.bench_id, start_ns, end_ns)
    return drift_of(curves_of(batches, channels, start_ns), role)


def read_again(data: Path, name: str, who: str, *, as_recorded: bool) -> str:
    """Have a trial's record read with the newest calibrations, or as it was recorded, and its summary worked out anew.

    A running daemon does so by itself; its id is returned.

    Raises:
        RequestError: There is none to read it with.
        StoreError: There is no such store or trial.
    """
    trial = find_trial(StoreReader(data / STORE_NAME), name).id
    try:
        ask(data, {"do": "recalibrate", "trial": trial, "who": who, "as_recorded": as_recorded})
    except NoDaemonError:
        with Store.open(data / STORE_NAME) as store:
            recalibrate(store, trial, who, as_recorded=as_recorded)
        summary_of(data, trial)
    return trial
