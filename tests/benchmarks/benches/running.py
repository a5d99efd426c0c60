"""One broker, one daemon and the devices of many benches, each a process of its own, and what they need."""

import asyncio
import contextlib
import json
import os
import sys
import time
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchmarks.benches.burns import Burns
from benchmarks.soak.running import needs, started_rss_mb
from broker_fixture import Broker
from daemon_fixture import DaemonProcess, children, daemon_process
from emberline import app
from emberline.store.reader import StoreReader

LOOK_EVERY_S = 2.0
FOUND_LIMIT_S = 300.0
"""How long the daemon may take to hear of all benches, real seconds."""
END_LIMIT_S = 120.0
ASKED = 40
"""Benches of which is asked how far they are followed."""
TICKS_S = os.sysconf("SC_CLK_TCK")


@dataclass
class Needs:
    """What the processes needed by time: seconds since the first look, and of the processor; megabytes."""

    t_s: list[float] = field(default_factory=list)
    daemon_s: list[float] = field(default_factory=list)
    loop_s: list[float] = field(default_factory=list)
    started_s: list[float] = field(default_factory=list)
    broker_s: list[float] = field(default_factory=list)
    devices_s: list[float] = field(default_factory=list)
    daemon_mb: list[float] = field(default_factory=list)
    all_mb: list[float] = field(default_factory=list)

    def cores(self, used_s: Sequence[float], first: int = 0) -> float:
        """Return how many cores one of the series used, from a look on."""
        return (used_s[-1] - used_s[first]) / (self.t_s[-1] - self.t_s[first])


@dataclass(frozen=True)
class Found:
    """What came of it.

    Attributes:
        benches: How many there were.
        devices: What the devices counted.
        stored: Samples in the store.
        lost: Samples that the store holds as lost.
        trials: Trials that were opened.
        behind_s: Of some benches that burn, the time between the newest reading and that up to which it was followed.
        needs: What it took.
        idle_mb: Resident memory of the daemon alone before the first bench.
    """

    benches: int
    devices: dict[str, Any]
    stored: int
    lost: int
    trials: int
    behind_s: Sequence[float]
    needs: Needs
    idle_mb: float

    @property
    def unaccounted(self) -> int:
        """Samples sent that are neither stored nor flagged lost."""
        return int(self.devices["samples_sent"]) - self.stored - self.lost


@asynccontextmanager
async def devices_on(
    broker: Broker, benches: int, seconds: float, burns: Burns
) -> AsyncIterator[asyncio.subprocess.Process]:
    """Run the devices of so many benches in a process of their own, and end it afterwards."""
    words = ("-m", "benchmarks.benches.devices", broker.address, str(benches), str(seconds), burns.value)
    devices = await asyncio.create_subprocess_exec(
        sys.executable,
        *words,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
    )
    try:
        yield devices
    finally:
        if devices.returncode is None:
            devices.kill()
        await devices.wait()


async def run(folder: Path, benches: int, seconds: float, burns: Burns) -> Found:
    """Record so many benches for so many seconds."""
    broker = Broker(folder / "broker", log="warning")
    await asyncio.to_thread(broker.start)
    try:
        options = ("--broker", broker.address, "--shard", "1/1", "--http", "127.0.0.1:0")
        async with daemon_process(folder / "data", *options) as daemon:
            await daemon.answers()
            idle_mb = needs(daemon.process.pid)[0]
            async with devices_on(broker, benches, seconds, burns) as devices:
                told, needed = await _watched(daemon, broker, devices, seconds)
            behind_s = await _behind_s(daemon)
        return Found(benches, told, *_kept(folder / "data", benches), behind_s, needed, idle_mb)
    finally:
        await asyncio.to_thread(broker.kill)


async def _watched(
    daemon: DaemonProcess, broker: Broker, devices: asyncio.subprocess.Process, seconds: float
) -> tuple[dict[str, Any], Needs]:
    needed, began_s = Needs(), time.monotonic()
    ended = asyncio.create_task(devices.communicate())
    while not ended.done() and time.monotonic() - began_s < seconds + END_LIMIT_S:
        _look(needed, daemon.process.pid, broker.pid, devices.pid, began_s)
        await asyncio.wait([ended], timeout=LOOK_EVERY_S)
    out, _ = await ended
    return json.loads(out), needed


def _look(needed: Needs, daemon: int, broker: int, devices: int, began_s: float) -> None:
    with contextlib.suppress(OSError):
        started = {pid: _used_s(pid) for pid in children(daemon)}
        own_mb = needs(daemon)[0]
        series = {
            "t_s": time.monotonic() - began_s,
            "daemon_s": _used_s(daemon),
            # Its first thread has the number of the process.
            "loop_s": _used_s(f"{daemon}/task/{daemon}"),
            "started_s": sum(started.values()) + _used_s(daemon, ended=True),
            "broker_s": _used_s(broker),
            "devices_s": _used_s(devices),
            "daemon_mb": own_mb,
            "all_mb": own_mb + sum(started_rss_mb(daemon).values()),
        }
        for name, value in series.items():
            getattr(needed, name).append(value)


async def _behind_s(daemon: DaemonProcess) -> list[float]:
    """Return how far following is behind, of some of the benches that burn now."""
    health = await daemon.health()
    burning = [one["bench"] for one in (health or {"benches": []})["benches"] if one["trial"] is not None]
    documents = [(await daemon.told({"do": "live", "bench": bench}))["live"] for bench in burning[:ASKED]]
    return [one["t_s"] - one["followed_s"] for one in documents if one["followed_s"] is not None]


def _used_s(pid: int | str, *, ended: bool = False) -> float:
    """Return the seconds of the processor that a process has used; or those of its children that have ended."""
    try:
        words = (Path("/proc") / str(pid) / "stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return sum(map(int, words[13:15] if ended else words[11:13])) / TICKS_S


def _kept(data: Path, benches: int) -> tuple[int, int, int]:
    """Return the samples in the store, those flagged lost, and its trials."""
    store = StoreReader(data / app.STORE_NAME)
    lost = sum(gap.next_seq - gap.first_seq for index in range(benches) for gap in store.gaps(f"bench-{index}"))
    return store.check(), lost, len(store.trials())
