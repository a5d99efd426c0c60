"""Two daemons through burn after burn, with a seeded mix of faults."""

import asyncio
import contextlib
import json
import random
import socket
import sqlite3
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.soak.course import Course
from broker_fixture import Broker
from conservation import account
from daemon_fixture import DaemonProcess, children, daemon_process
from emberline import app
from emberline.service.control_place import socket_path
from live_fixture import simulated_bench

SPEED = 20.0
BURN_S = 560.0
LOOK_EVERY_S, FAULT_EVERY_S = 2.0, 10.0
SETTLED_S = 300.0
"""A process that a daemon started and that lives longer stays for good; those for summaries come and go."""
AWAY_S = (0.5, 4.0)
"""Real seconds for which something is away."""
LINE_FAULTS = ("unplug", "reboot", "junk", "bits", "lose", "double")


@dataclass
class Found:
    """What came of it: samples of all burns, faults by name, and the daemons' needs by time."""

    burns: int = 0
    taken: int = 0
    stored: int = 0
    lost: int = 0
    unaccounted: int = 0
    unheard: int = 0
    doubled: int = 0
    unnamed: int = 0
    faults: "Counter[str]" = field(default_factory=Counter)
    courses: dict[str, Course] = field(default_factory=dict)


@dataclass
class Burning:
    """The number of the burn that is under way on a bench."""

    number: int = 0


async def run(folder: Path, length_s: float, seed: int, say: Callable[[str], object], burn_s: float = BURN_S) -> Found:
    """Soak two daemons for some real seconds, with burns of so many simulated ones."""
    found = Found()
    broker = Broker(folder / "broker", persistence=True)
    await asyncio.to_thread(broker.start)
    stop_s = time.monotonic() + length_s
    try:
        port = folder / "cable" / "port"
        ways = {"cable": ("--port", str(port)), "broker": ("--broker", broker.address)}
        async with contextlib.AsyncExitStack() as stack:
            daemons = {
                name: await stack.enter_async_context(
                    daemon_process(folder / f"{name}-data", *way, "--speed", f"{SPEED:g}", "--http", "127.0.0.1:0")
                )
                for name, way in ways.items()
            }
            async with asyncio.TaskGroup() as group:
                for name, daemon in daemons.items():
                    found.courses[name] = Course()
                    burning = Burning()
                    group.create_task(_look(daemon, found.courses[name], burning, stop_s, name, say))
                    dice = random.Random(f"{seed} {name}")
                    address = broker.address if name == "broker" else None
                    group.create_task(
                        _burn_on(folder / name, daemon, dice, address, burn_s, stop_s, found, burning, say)
                    )
                    group.create_task(_trouble(daemon, broker if address else None, dice, stop_s, found))
    finally:
        await asyncio.to_thread(broker.kill)
    return found


async def _burn_on(
    folder: Path,
    daemon: DaemonProcess,
    dice: random.Random,
    address: str | None,
    burn_s: float,
    stop_s: float,
    found: Found,
    burning: Burning,
    say: Callable[[str], object],
) -> None:
    """Burn one batch after the other, each with its trial, and account for each."""
    while time.monotonic() < stop_s:
        faults = list(_line_faults(dice, burn_s))
        found.faults.update(fault.partition("@")[0] for fault in faults)
        words = [word for fault in faults for word in ("--fault", fault)]
        async with simulated_bench(
            folder,
            "--ring",
            "600",
            "--seed",
            str(dice.randrange(10**6)),
            *words,
            broker=address,
            duration_s=burn_s,
            speed=SPEED,
        ) as bench:
            await daemon.told({"do": "arm", "plan": bench.plan, "label": None}, 120.0)
            await bench.process.wait()
            # The fire may have gone out long enough ago for its trial to have ended by itself.
            with contextlib.suppress(AssertionError):
                await daemon.told({"do": "end"}, 10.0)
            one = await asyncio.to_thread(account, bench, daemon.data)
        if one.unaccounted or one.doubled or one.unnamed:
            say(f"{one}\n{bench.words()}{' '.join(words)}\n{json.dumps(bench.tally())}")
        found.burns += 1
        burning.number += 1
        found.taken, found.stored, found.lost = (
            found.taken + one.taken,
            found.stored + one.stored,
            found.lost + one.lost,
        )
        found.unaccounted += one.unaccounted
        found.unheard += one.unheard
        found.doubled += one.doubled
        found.unnamed += one.unnamed


def _line_faults(dice: random.Random, burn_s: float) -> Iterator[str]:
    """Yield faults of the line in the course of a burn, the last well before its end."""
    at_s = 0.0
    while (at_s := at_s + dice.expovariate(1.0 / (SPEED * FAULT_EVERY_S))) < burn_s - 60.0:
        kind, seconds = dice.choice(LINE_FAULTS), SPEED * dice.uniform(*AWAY_S)
        amount = {
            "unplug": f":{seconds:.1f}",
            "reboot": "",
            "junk": f":{dice.randrange(1, 4000)}",
            "bits": f"-{at_s + seconds:.1f}:{10 ** dice.uniform(-4.0, -2.0):.6f}",
            "lose": f"-{at_s + seconds:.1f}:{10 ** dice.uniform(-4.0, -1.3):.6f}",
            "double": f"-{at_s + seconds:.1f}:{10 ** dice.uniform(-4.0, -1.3):.6f}",
        }[kind]
        yield f"{kind}@{at_s:.1f}{amount}"


async def _trouble(
    daemon: DaemonProcess, broker: Broker | None, dice: random.Random, stop_s: float, found: Found
) -> None:
    """Bring about what the line cannot: brokers that go, viewers that stall, readers that do not end."""
    kinds = ["stalled viewer", "endless reader", "locked store"]
    if broker is not None:
        kinds += ["broker killed", "broker stopped", "broker frozen"]
    await daemon.stores_more(0, 120.0)
    while time.monotonic() < stop_s:
        await asyncio.sleep(dice.expovariate(1.0 / FAULT_EVERY_S))
        kind, seconds = dice.choice(kinds), dice.uniform(*AWAY_S)
        found.faults[kind] += 1
        if broker is not None and kind.startswith("broker"):
            await _broker_trouble(broker, kind, seconds)
        elif kind == "stalled viewer":
            with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as viewer:
                viewer.connect(str(socket_path(daemon.data)))
                viewer.sendall(json.dumps({"do": "watch"}).encode() + b"\n")
                await asyncio.sleep(seconds)
        else:
            with (
                contextlib.closing(sqlite3.connect(daemon.data / app.STORE_NAME, isolation_level=None)) as other,
                contextlib.suppress(sqlite3.OperationalError),
            ):
                other.execute("BEGIN" if kind == "endless reader" else "BEGIN IMMEDIATE")
                other.execute("SELECT count(*) FROM blocks").fetchall()
                await asyncio.sleep(seconds)
                other.execute("ROLLBACK")


async def _broker_trouble(broker: Broker, kind: str, seconds: float) -> None:
    if kind == "broker frozen":
        broker.freeze()
        await asyncio.sleep(seconds)
        broker.thaw()
        return
    await asyncio.to_thread(broker.kill if kind == "broker killed" else broker.stop)
    await asyncio.sleep(seconds)
    await asyncio.to_thread(broker.start)


async def _look(
    daemon: DaemonProcess, course: Course, burning: Burning, stop_s: float, name: str, say: Callable[[str], object]
) -> None:
    """Note the daemon's needs, and tell them once a minute."""
    began_s = told_s = time.monotonic()
    first_seen_s: dict[int, float] = {}
    while (now_s := time.monotonic()) < stop_s:
        await asyncio.sleep(LOOK_EVERY_S)
        assert daemon.running, f"the daemon of {name} ended with code {daemon.process.returncode}"
        rss_mb, threads, files = await asyncio.to_thread(needs, daemon.process.pid)
        started_mb = await asyncio.to_thread(started_rss_mb, daemon.process.pid)
        stay_mb = [mb for pid, mb in started_mb.items() if now_s - first_seen_s.setdefault(pid, now_s) > SETTLED_S]
        journal = daemon.data / (app.STORE_NAME + "-wal")
        course.t_s.append(now_s - began_s)
        course.burn.append(burning.number)
        course.rss_mb.append(rss_mb)
        course.tree_mb.append(rss_mb + sum(stay_mb))
        course.processes.append(1 + len(started_mb))
        course.threads.append(threads)
        course.files.append(files)
        course.journal_mb.append(journal.stat().st_size / 1e6 if journal.exists() else 0.0)
        course.lag_s.append(await lag_s(daemon))
        if now_s - told_s > 60.0:
            told_s = now_s
            all_mb = rss_mb + sum(started_mb.values())
            say(
                f"{(now_s - began_s) / 60:.0f} min, {name}: {rss_mb:.1f} MB ({all_mb:.1f} in all), "
                f"{files} files, {threads} threads, journal {course.journal_mb[-1]:.1f} MB"
            )


def needs(pid: int) -> tuple[float, int, int]:
    """Return a process's resident memory in MB, its threads and its open files."""
    place = Path("/proc") / str(pid)
    status = dict(line.split(":", 1) for line in (place / "status").read_text().splitlines())
    files = sum(1 for _ in (place / "fd").iterdir())
    return float(status["VmRSS"].split()[0]) * 1024 / 1e6, int(status["Threads"]), files


def started_rss_mb(pid: int) -> dict[int, float]:
    """Return the resident memory of each process that a process has started, without those that end meanwhile."""
    found: dict[int, float] = {}
    for child in children(pid):
        with contextlib.suppress(OSError, KeyError):  # a process that has ended has no memory
            found[child] = needs(child)[0]
    return found


async def lag_s(daemon: DaemonProcess) -> float:
    """Return for how long the daemon's event loop was held up at most; 0 where it does not answer now."""
    health = await daemon.health()
    if health is None or health["address"] is None:
        return 0.0
    port = int(str(health["address"]).split(":")[2].split("/")[0])
    try:
        async with asyncio.timeout(5.0):
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(b"GET /metrics HTTP/1.0\r\n\r\n")
            text = (await reader.read()).decode()
            writer.close()
    except (OSError, TimeoutError):
        return 0.0
    lines = [line for line in text.splitlines() if line.startswith("emberline_loop_lag_worst_seconds")]
    return float(lines[0].rpartition(" ")[2]) if lines else 0.0
