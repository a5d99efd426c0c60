"""The program as a whole: how long it takes to say its help, what a daemon takes of the memory, how old a page is."""

import asyncio
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from benchmarks.benches.burns import Burns
from benchmarks.benches.running import devices_on
from benchmarks.service.timing import in_turns
from benchmarks.service.verdict import Bar, at_most
from benchmarks.soak.running import needs, started_rss_mb
from benchmarks.speed.figures import Figure, Other
from broker_fixture import Broker
from browser_fixture import pages_of
from daemon_fixture import EMBERLINE, DaemonProcess, daemon_process

HELP_S = 0.3
ONE_BENCH_MB, EACH_MORE_MB = 150.0, 0.3
LOADED = "import emberline.app.live as _; print(open('/proc/self/status').read().partition('VmRSS:')[2].split()[0])"
STREAMING_LIMIT_S = 120.0
ASK_S = 1.07
"""Not in step with the bench's frames, which come once a second."""
BENCH_FILE = """
id = "bench-{index}"
[[channel]]
role = "water"
[[channel]]
role = "flame"
[[channel]]
role = "ambient"
[[channel]]
role = "mass"
"""


def measure_help(times: int) -> tuple[list[Figure], list[Bar]]:
    """Time `emberline --help`, by the processor's time of the processes started."""
    python = sys.executable

    def run(*words: str) -> None:
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL)

    taken_s = in_turns(
        {
            "help": lambda: run(EMBERLINE, "--help"),
            "python": lambda: run(python, "-c", "pass"),
            "numpy": lambda: run(python, "-c", "import numpy, scipy.optimize, matplotlib.figure"),
        },
        times,
        _of_children_s,
    )
    help_s = taken_s["help"]
    baseline, limit = (
        Other("Python with the plotting loaded", taken_s["numpy"]),
        Other("Python alone", taken_s["python"]),
    )
    return [Figure("`emberline --help`", help_s, "s", baseline, limit)], [at_most("`--help`", help_s, HELP_S, "s")]


def _of_children_s() -> float:
    """Return the seconds of the processor that ended children have used."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


async def measure_memory(folder: Path, more: int, seconds: float) -> tuple[list[Figure], list[Bar]]:
    """Record one bench, then so many more beside it, and read what the daemon takes.

    Args:
        folder: An empty folder.
        more: How many benches more.
        seconds: How long they are recorded before.
    """
    one_mb, one_all_mb = await _recorded_mb(folder / "one", 1, seconds)
    many_mb, many_all_mb = await _recorded_mb(folder / "many", 1 + more, seconds)
    each_mb = (many_mb - one_mb) / more
    loaded_mb = float(await asyncio.to_thread(subprocess.check_output, (sys.executable, "-c", LOADED))) * 1024 / 1e6
    figures = [
        Figure("daemon of one bench", one_mb, "MB", limit=Other("Python with its modules loaded", loaded_mb)),
        Figure("the same with the processes that it starts", one_all_mb, "MB"),
        Figure(f"each of {more} benches more", each_mb, "MB"),
        Figure("the same with the processes that it starts, too", (many_all_mb - one_all_mb) / more, "MB"),
    ]
    bars = [
        at_most("memory of a one-bench daemon", one_mb, ONE_BENCH_MB, "MB"),
        at_most("memory of each bench more", each_mb, EACH_MORE_MB, "MB"),
    ]
    return figures, bars


async def _recorded_mb(folder: Path, number: int, seconds: float) -> tuple[float, float]:
    """Return the resident memory of a daemon that has recorded so many benches a while, and of all its processes."""
    benches = _bench_files(folder, number)
    async with _burning(folder, number) as broker:
        options = ("--bench", str(benches), "--broker", broker.address, "--http", "127.0.0.1:0")
        async with daemon_process(folder / "data", *options) as daemon:
            await _streaming(daemon, number)
            await asyncio.sleep(seconds)
            assert await _streaming(daemon, number)
            pid = daemon.process.pid
            own_mb = needs(pid)[0]
            return own_mb, own_mb + sum(started_rss_mb(pid).values())


def _bench_files(folder: Path, number: int) -> Path:
    benches = folder / "benches"
    benches.mkdir(parents=True)
    for index in range(number):
        (benches / f"bench-{index}.toml").write_text(BENCH_FILE.format(index=index), encoding="utf-8")
    return benches


@asynccontextmanager
async def _burning(folder: Path, number: int) -> AsyncIterator[Broker]:
    broker = Broker(folder / "broker")
    broker.start()
    try:
        async with devices_on(broker, number, float("inf"), Burns.ALL):
            yield broker
    finally:
        broker.kill()


async def _streaming(daemon: DaemonProcess, number: int) -> bool:
    """Wait until all benches are recorded."""
    async with asyncio.timeout(STREAMING_LIMIT_S):
        while True:
            health = await daemon.health()
            recorded = [] if health is None else [one for one in health["benches"] if one["samples"]["stored"] > 0]
            if len(recorded) == number:
                return True
            await asyncio.sleep(0.2)


async def measure_age(folder: Path, seconds: float) -> list[Figure]:
    """Follow a bench's page, and see how old the newest reading is when it arrives there.

    Baseline: the same document, asked for once a second. Limit: the age at which that reading was on the disk.
    """
    benches = _bench_files(folder, 1)
    async with _burning(folder, 1) as broker:
        options = ("--bench", str(benches), "--broker", broker.address, "--http", "127.0.0.1:0")
        async with daemon_process(folder / "data", *options) as daemon:
            url = await pages_of(daemon.log)
            await _streaming(daemon, 1)
            async with asyncio.timeout(seconds + STREAMING_LIMIT_S), asyncio.TaskGroup() as group:
                followed = group.create_task(_followed(url, seconds))
                asked = group.create_task(_asked(daemon, seconds))
    arrived_s, committed_s = followed.result()
    baseline = Other("asked for once a second", statistics.median(asked.result()))
    limit = Other("on the disk", statistics.median(committed_s))
    return [Figure("reading to page", statistics.median(arrived_s), "s", baseline, limit)]


async def _followed(url: str, seconds: float) -> tuple[list[float], list[float]]:
    """Return the ages of readings when they first arrived at a page, and when they were committed."""
    parts = urlsplit(url)
    reader, writer = await asyncio.open_connection(parts.hostname, parts.port, limit=1 << 22)
    writer.write(f"GET /bench/bench-0/stream HTTP/1.1\r\nHost: {parts.hostname}\r\n\r\n".encode())
    arrived_s, committed_s = [], []
    newest = 0
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        line = await reader.readline()
        if not line.startswith(b"data:"):
            continue
        live = json.loads(line.removeprefix(b"data:"))["live"]
        if live["committed_ns"] is not None and live["committed_ns"] > newest:
            # The first one may have been there for a while.
            if newest:
                arrived_s.append((time.time_ns() - _newest_ns(live)) / 1e9)
                committed_s.append((live["committed_ns"] - _newest_ns(live)) / 1e9)
            newest = live["committed_ns"]
    writer.close()
    return arrived_s, committed_s


async def _asked(daemon: DaemonProcess, seconds: float) -> list[float]:
    """Return the ages of readings when they were first seen by somebody who asks once a second."""
    ages_s = []
    newest = 0
    for _ in range(int(seconds / ASK_S)):
        live = (await daemon.told({"do": "live"}))["live"]
        if live["committed_ns"] > newest:
            ages_s.append((time.time_ns() - _newest_ns(live)) / 1e9)
            newest = live["committed_ns"]
        await asyncio.sleep(ASK_S)
    return ages_s


def _newest_ns(live: dict[str, Any]) -> int:
    """Return when the newest reading of a live document was taken."""
    age_s = min(value["age_s"] for value in live["values"].values())
    return int(live["time_ns"] - age_s * 1e9)
