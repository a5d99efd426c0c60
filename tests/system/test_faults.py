"""The matrix of faults and phases: whatever breaks, whenever, nothing is lost without a word and a replay agrees.

Each burn meets its faults while the bench is idle, before the fire is lit, in the steady trial, as the flame goes out,
and while its summary is worked out; several one after the other, where none hides what another costs.

| fault | idle | before it is lit | steady | flameout | summary | test |
|---|---|---|---|---|---|---|
| cable out for 2 s, for 60 s | x | x | x | x | x | `test_a_cable_in_trouble...` |
| device's way to the broker out for 2 s, for 60 s | x | x | x | x | x | `test_a_connection_in_trouble...` |
| one bit in a hundred flipped, one byte in twenty lost | x | x | x | x | x | both of these |
| broker ended, killed, frozen; all forgotten | x | x | x | x | x | `test_a_connection_in_trouble...` |
| device restarts | x | x | x | x | | `test_a_device_that_restarts`, both ways |
| device's counter wraps | x | x | x | x | | one in each of the four with `--wrap-after` |
| daemon killed, daemon ended | x | x | x | x | x | `test_a_daemon_that_is_killed_or_ended`, both ways |
| daemon killed with readings that came late | | | | | x | `test_readings_that_come_late...` |
| disk full, then freed | | | x | x | x | `test_a_disk_that_is_full_and_is_freed` |
| stalled viewer, reader of the store that does not end | x | x | x | x | | `test_a_cable_in_trouble...` |
| machine's clock set | x | | x | | | `integration/test_clock_steps.py` |
| server forwarded to: away, hung, refusing | | | x | | x | `integration/test_forwarding.py`, `test_hung_server.py` |

A daemon killed at random moments has its home in `test_service_benchmarks.py`, what a broker does to a connection in
`integration/test_mqtt_service.py`.
"""

import asyncio
import contextlib
import itertools
import json
import os
import signal
import socket
import sqlite3
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from paho.mqtt import publish

from benchmarks.kills.running import summary_kept
from broker_fixture import Broker
from conservation import Account, check, check_replay
from daemon_fixture import DaemonProcess, children, daemon_process
from disk_fixture import disk_of
from emberline import app
from emberline.app.stored import analysis_of
from emberline.links.arrivals import REASONS
from emberline.service.control_place import socket_path
from emberline.service.keeper import first_sample_ns
from emberline.store.errors import StoreError
from emberline.store.reader import StoreReader
from emberline.trials.documents import document_json, summary_document
from emberline_wire import Loss
from live_fixture import SimulatedBench, simulated_bench, until

# A burn with its summary takes a fifth of this where nobody else wants the machine.
pytestmark = pytest.mark.timeout(300)

IDLE_S, ARMED_S, BEFORE_S, LIT_S, STEADY_S, OUT_S, ENDED_S = 15.0, 110.0, 120.0, 150.0, 265.0, 500.0, 590.0
"""Moments of the burn; the water boils at 305 s, and the flame is out at 515 s."""
PHASES_S = (IDLE_S, BEFORE_S, STEADY_S, OUT_S)
LENGTH_S = 690.0
RING = ("--ring", "1200")
"""The device keeps the whole burn: what is lost all the same, the host has lost."""
SPEED, LINE_SPEED = 20.0, 60.0
"""Pace of the bench where programs are struck, which takes real time; and where only its line is, which takes none."""
MOMENT_S = 1.2
"""Real seconds for which something is away."""


@dataclass
class Burn:
    """A burn under way.

    Attributes:
        bench: The simulated bench.
        daemon: The daemon that records it.
    """

    bench: SimulatedBench
    daemon: DaemonProcess

    async def reaches(self, t_s: float) -> None:
        """Wait until the store holds readings of a moment, seconds of the bench."""
        store = StoreReader(self.daemon.data / app.STORE_NAME)

        def stored_s() -> float:
            try:
                newest_ns = store.newest_ns()
                return 0.0 if newest_ns is None else (newest_ns - first_sample_ns(store, "bench", 0)) * 1e-9
            except StoreError:
                return 0.0

        try:
            async with asyncio.timeout(120.0):
                while await asyncio.to_thread(stored_s) < t_s:  # noqa: ASYNC110 it is in another process
                    await asyncio.sleep(0.05)
        except TimeoutError:
            pytest.fail(f"{t_s:.0f} s were not reached: {await self.daemon.health()}\n{self.bench.words()}")


Strike = Callable[[Burn], Awaitable[None]]


async def nothing(_: Burn) -> None:
    """Leave the fault to the simulated bench."""


def in_turn(*strikes: Strike) -> Strike:
    """Return what strikes in another way each time, and begins again with the first."""
    turn = itertools.cycle(strikes)

    async def strike(burn: Burn) -> None:
        await next(turn)(burn)

    return strike


async def burned(
    folder: Path,
    *options: str,
    strike: Strike = nothing,
    phases_s: tuple[float, ...] = PHASES_S,
    in_summary: bool = True,
    broker: Broker | None = None,
    speed: float = SPEED,
    data: Path | None = None,
    lost: bool | None = False,
) -> Account:
    """Record a burn with a fault in each phase, and look whether conservation and replay hold.

    Args:
        folder: A folder of its own.
        options: Of the simulated bench.
        strike: The fault, over by its return.
        phases_s: When it strikes.
        in_summary: Whether it strikes while the summary is worked out, too.
        broker: The broker by which the device is reached; None for a serial port.
        speed: Pace of the bench.
        data: The data folder.
        lost: Whether samples must be flagged lost; None where either will do.
    """
    data = data or folder / "data"
    named = None if broker is None else broker.address
    async with simulated_bench(
        folder / "bench", *RING, *options, broker=named, duration_s=LENGTH_S, speed=speed, lit_s=LIT_S
    ) as bench:
        way = ("--port", str(bench.port)) if broker is None else ("--broker", broker.address)
        async with daemon_process(data, *way, "--speed", f"{speed:g}", "--no-http") as daemon:
            burn = Burn(bench, daemon)
            armed = False
            for phase_s in (*phases_s, ENDED_S):
                if phase_s > ARMED_S and not armed:
                    await burn.reaches(ARMED_S)
                    await daemon.told({"do": "arm", "plan": bench.plan, "label": None}, 90.0)
                    armed = True
                await burn.reaches(phase_s)
                if phase_s != ENDED_S:
                    await strike(burn)
            await daemon.told({"do": "end"}, 90.0)
            if in_summary:
                await strike(burn)
            await summary_kept(daemon)
            assert await bench.process.wait() == 0, bench.words()
            # Readings that came after the end of their trial have its summary made anew.
            await summary_kept(daemon)
            await daemon.answers()
            assert await daemon.stop() == 0
    assert "Traceback" not in daemon.log.read_text()
    found = check(bench, data, lost=lost)
    assert {"lit", "pot_on", "boil", "pot_off"} <= set(check_replay(data))
    return found


def trouble_on_the_line() -> tuple[str, ...]:
    """Return what befalls the line in each phase: out, one bit in a hundred flipped, one byte in twenty lost, out long.

    The long ones hide the lighting and the flame's end from the host until they are over.
    """
    faults: list[str] = []
    for at_s in (*PHASES_S, ENDED_S + 8.0):
        faults += [f"unplug@{at_s:g}:2", f"bits@{at_s + 2:g}-{at_s + 5:g}:0.01", f"lose@{at_s + 5:g}-{at_s + 8:g}:0.05"]
        faults.append(f"unplug@{at_s + 12:g}:60")
    return tuple(word for fault in faults for word in ("--fault", fault))


async def test_a_cable_in_trouble_with_a_viewer_and_a_reader_that_do_not_end(tmp_path: Path) -> None:
    kept: list[socket.socket | sqlite3.Connection] = []

    async def strike(burn: Burn) -> None:
        stalled = socket.socket(socket.AF_UNIX)
        kept.append(stalled)
        stalled.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1)
        stalled.connect(str(socket_path(burn.daemon.data)))
        stalled.sendall(json.dumps({"do": "watch"}).encode() + b"\n")
        reader = sqlite3.connect(burn.daemon.data / app.STORE_NAME, isolation_level=None)
        kept.append(reader)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM blocks").fetchall()

    try:
        options = (*trouble_on_the_line(), "--wrap-after", f"{IDLE_S + 5:g}")
        await burned(tmp_path, *options, strike=strike, in_summary=False, speed=LINE_SPEED)
    finally:
        for one in kept:
            one.close()


async def test_a_connection_in_trouble_with_a_broker_that_forgets_and_freezes(tmp_path: Path, broker: Broker) -> None:
    async def strike(_: Burn) -> None:
        for end in (broker.stop, broker.kill):
            await asyncio.to_thread(end)
            await asyncio.sleep(MOMENT_S)
            await asyncio.to_thread(broker.start)
        broker.freeze()
        await asyncio.sleep(MOMENT_S)
        broker.thaw()

    options = (*trouble_on_the_line(), "--wrap-after", f"{BEFORE_S + 10:g}")
    # What comes at once after the first strike must not reach beyond the history of a trial that is armed then.
    await burned(tmp_path, *options, strike=strike, broker=broker, speed=0.6 * SPEED)


@pytest.mark.parametrize("way", ["serial", "broker"])
async def test_a_device_that_restarts(tmp_path: Path, way: str, request: pytest.FixtureRequest) -> None:
    broker = request.getfixturevalue("broker") if way == "broker" else None
    faults = [word for at_s in PHASES_S for word in ("--fault", f"reboot@{at_s:g}")]
    found = await burned(tmp_path, *faults, broker=broker, in_summary=False, lost=None)
    assert found.boots == 1 + len(PHASES_S)
    assert found.causes <= {REASONS[Loss.REBOOT]}
    notes = StoreReader(tmp_path / "data" / app.STORE_NAME).notes("bench")
    assert sum("restarted" in note.text for note in notes) == len(PHASES_S)


@pytest.mark.parametrize("way", ["serial", "broker"])
async def test_a_daemon_that_is_killed_or_ended(tmp_path: Path, way: str, request: pytest.FixtureRequest) -> None:
    async def kill(burn: Burn) -> None:
        await burn.daemon.kill()
        await burn.daemon.start()

    async def end(burn: Burn) -> None:
        # Before its first word, the signal itself ends it.
        await burn.daemon.answers()
        assert await burn.daemon.stop() == 0
        await burn.daemon.start()

    # What is killed on the one way is ended on the other, so that each happens in each phase.
    if way == "serial":
        await burned(tmp_path, "--wrap-after", f"{STEADY_S + 5:g}", strike=in_turn(kill, end))
    else:
        broker = request.getfixturevalue("broker")
        await burned(tmp_path, "--wrap-after", f"{OUT_S + 5:g}", strike=in_turn(end, kill), broker=broker)


async def test_readings_that_come_late_are_summed_up_though_the_daemon_is_killed_before(
    tmp_path: Path, broker: Broker
) -> None:
    # That a summary was due was remembered by the running program alone.
    data = tmp_path / "data"
    store = StoreReader(data / app.STORE_NAME)

    async def send(channel: str, seconds: range) -> None:
        records = [{"n": channel, "u": "Cel", "t": second, "v": 20.0 + 0.1 * second} for second in seconds]
        pack = json.dumps([{"bn": "pot/", "bt": 1_790_000_000}, *records])
        topic = "emberline/v1/bench/senml"
        await asyncio.to_thread(publish.single, topic, pack, qos=1, hostname=broker.host, port=broker.port)

    async def additions(number: int) -> None:
        await until(lambda: store.trials()[0].additions == number, "the late readings", 60.0)

    async with daemon_process(data, "--broker", broker.address, "--no-http") as daemon:
        await daemon.answers()
        await send("water", range(120))
        await daemon.told({"do": "arm", "plan": "", "label": None}, 60.0)
        await daemon.told({"do": "end"}, 60.0)
        await summary_kept(daemon)
        await send("flame", range(80, 90))
        await additions(1)
        await daemon.kill()
        (trial,) = store.pasts(["bench"])["bench"].unfinished
        await daemon.start()
        await summary_kept(daemon)
        # One that was finished before the program was started again is made anew as well.
        await send("flame", range(90, 100))
        await additions(2)
        await summary_kept(daemon)
        await daemon.stop()
    kept = store.summary(trial.id)
    assert kept is not None
    assert document_json(summary_document(analysis_of(store, trial))) == kept.document


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    with disk_of(16, tmp_path / "disk") as place:
        yield place


async def test_a_disk_that_is_full_and_is_freed(tmp_path: Path, small_disk: Path) -> None:
    async def strike(_: Burn) -> None:
        ballast = small_disk / "ballast"
        with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
            while True:
                file.write(b"\0" * 4096)
        await asyncio.sleep(2.0 * MOMENT_S)
        ballast.unlink()

    (small_disk / "data").mkdir()
    await burned(tmp_path, strike=strike, phases_s=(STEADY_S, OUT_S), data=small_disk / "data")


async def test_a_daemon_ends_though_broker_store_and_follower_hang(tmp_path: Path, broker: Broker) -> None:
    data = tmp_path / "data"
    way = ("--broker", broker.address, "--speed", "20", "--no-http")
    async with (
        simulated_bench(tmp_path / "bench", *RING, broker=broker.address, duration_s=LENGTH_S, speed=20.0),
        daemon_process(data, *way) as daemon,
    ):
        await daemon.stores_more(100, 90.0)
        for follower in children(daemon.process.pid):
            os.kill(follower, signal.SIGSTOP)
        broker.freeze()
        with contextlib.closing(sqlite3.connect(data / app.STORE_NAME, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            # Raises where it takes longer than the ten seconds allowed, and a busy machine's time.
            await daemon.stop()
        broker.thaw()
    assert "Traceback" not in daemon.log.read_text()
