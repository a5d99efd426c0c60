"""Several benches on one daemon, and people who watch them."""

import asyncio
import json
import sys
from collections.abc import Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from browser_fixture import pages_of
from conservation import account
from daemon_fixture import daemon_process
from live_fixture import short_burn, simulated_bench

BENCH_FILE = """
id = "{id}"
[[channel]]
role = "water"
[[channel]]
role = "flame"
[[channel]]
role = "mass"
[serial]
port = "{port}"
"""
NAMES = ("yard", "shed", "barn", "loft", "quay", "mill")
RATE_HZ = 10.0
SETTLE_S = 10.0
"""Time for the benches to greet and the first commits, before anybody watches."""


@dataclass(frozen=True)
class Plan:
    """How many, and how long.

    Attributes:
        viewers: Those who watch, shared among the benches.
        asleep: Those who ask for a stream and read nothing of it.
        benches: Benches, each with three probes and two cold junctions at 10 Hz.
        seconds: How long they are watched.
        frame_s: Seconds between a device's frames, and so between two commits of its bench.
    """

    viewers: int
    asleep: int
    benches: int
    seconds: float
    frame_s: float


@dataclass(frozen=True)
class Found:
    """What came of it.

    Attributes:
        taken, stored, lost, unaccounted, doubled: Samples of all benches.
        late_s: From each commit to its arrival at each viewer, in order of size.
        messages: Messages that arrived.
        breaks: Connections that ended before their time.
        fewest_commits: Commits that the least lucky viewer was told of.
        held_up_s: Longest time for which the daemon's event loop was held up.
    """

    taken: int
    stored: int
    lost: int
    unaccounted: int
    doubled: int
    late_s: list[float]
    messages: int
    breaks: int
    fewest_commits: int
    held_up_s: float

    def late_at(self, share: float) -> float:
        """Return a quantile of the lateness, seconds."""
        return self.late_s[min(int(share * len(self.late_s)), len(self.late_s) - 1)]


async def run(folder: Path, plan: Plan, say: Callable[[str], object]) -> Found:
    """Record and watch, then compare what the benches took with what was stored."""
    names = NAMES[: plan.benches]
    duration_s = plan.seconds + 2.0 * SETTLE_S
    async with AsyncExitStack() as stack:
        options: list[str] = ["--http", "127.0.0.1:0"]
        benches = {}
        for number, name in enumerate(names):
            scenario = folder / f"{name}-burn.toml"
            scenario.write_text(_scenario(duration_s))
            words = ("--seed", str(number + 1), "--frame-period", f"{plan.frame_s:g}", "--scenario", str(scenario))
            benches[name] = await stack.enter_async_context(simulated_bench(folder / name, *words, speed=1.0))
            (folder / f"{name}.toml").write_text(BENCH_FILE.format(id=name, port=benches[name].port))
            options += ["--bench", str(folder / f"{name}.toml")]
        daemon = await stack.enter_async_context(daemon_process(folder / "data", *options))
        url = await pages_of(daemon.log)
        say(f"{plan.benches} benches record; pages are at {url}")
        await asyncio.sleep(SETTLE_S)
        for name in names:
            # With a trial open the record is followed, and its curves are whole for whoever comes.
            await daemon.told({"do": "arm", "plan": "", "label": None, "bench": name})
        watched = await _watched(url, plan, names)
        held_up_s = await _held_up_s(url)
        say("nobody watches any more; the benches end")
        for bench in benches.values():
            assert await bench.process.wait() == 0, bench.words()
    accounts = [account(bench, folder / "data", name) for name, bench in benches.items()]
    return Found(
        taken=sum(one.taken for one in accounts),
        stored=sum(one.stored for one in accounts),
        lost=sum(one.lost for one in accounts),
        unaccounted=sum(one.unaccounted + one.unheard for one in accounts),
        doubled=sum(one.doubled for one in accounts),
        held_up_s=held_up_s,
        **watched,
    )


def _scenario(duration_s: float) -> str:
    """Return a burn whose probes and load cell are all read ten times a second."""
    text = short_burn(duration_s)
    for channel in ("water", "flame", "mass"):
        text = text.replace(f"[channels.{channel}]", f"[channels.{channel}]\nrate_hz = {RATE_HZ}")
    return text


async def _watched(url: str, plan: Plan, names: tuple[str, ...]) -> dict[str, Any]:
    words = [url, str(plan.seconds), str(plan.viewers), str(plan.asleep), *names]
    process = await asyncio.create_subprocess_exec(
        sys.executable, str(Path(__file__).with_name("watching.py")), *words, stdout=asyncio.subprocess.PIPE
    )
    out, _ = await process.communicate()
    assert process.returncode == 0
    watched: dict[str, Any] = json.loads(out)
    return watched


async def _held_up_s(url: str) -> float:
    """Return the longest hold-up of the daemon's event loop, from its figures for monitoring servers."""
    host, _, port = url.removeprefix("http://").strip("/").rpartition(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    writer.write(f"GET /metrics HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
    text = (await reader.read()).decode()
    writer.close()
    line = next(line for line in text.splitlines() if line.startswith("emberline_loop_lag"))
    return float(line.rpartition(" ")[2])
