"""Two daemons side by side, one of which forwards to a server that hangs."""

import asyncio
import threading
from collections.abc import Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass
from pathlib import Path

from benchmarks.forwarding.acknowledged import Acknowledged
from broker_fixture import Broker
from conservation import account
from daemon_fixture import daemon_process
from line_server_fixture import LineServer, line_server, taken
from live_fixture import simulated_bench, until

ALONE, HUNG = "alone", "hung"
BENCH_FILE = """
id = "{id}"
[[channel]]
role = "water"
[[channel]]
role = "flame"
[[channel]]
role = "mass"
[mqtt]
host = "{host}"
port = {port}
"""
FRAME_S = 0.2
SETTLE_S = 5.0
CAUGHT_UP_S = 400.0
"""The longest pause that the daemon makes between two attempts, and a busy machine's time."""


@dataclass(frozen=True)
class Plan:
    """How long.

    Attributes:
        hung_s: Real seconds for which the server takes requests and does not answer.
        after_s: Real seconds after that.
    """

    hung_s: float
    after_s: float


@dataclass(frozen=True)
class Found:
    """What came of it.

    Attributes:
        alone_s, hung_s: From readings to their acknowledgement, of the bench without a server and of that with one.
        attempts: Requests that the server left without an answer.
        lost, unaccounted, doubled: Samples of both benches.
        missing: Samples stored of which the server has no row in the end.
        more: Rows that the server has and the store does not.
    """

    alone_s: list[float]
    hung_s: list[float]
    attempts: int
    lost: int
    unaccounted: int
    doubled: int
    missing: int
    more: int


async def run(folder: Path, plan: Plan, say: Callable[[str], object]) -> Found:
    """Record two benches at once, hang the server of one, let it answer again, and count."""
    broker, back, attempts = Broker(folder / "broker"), threading.Event(), 0

    def hangs(server: LineServer, lines: list[str]) -> tuple[int, dict[str, str]]:
        nonlocal attempts
        if back.is_set():
            return taken(server, lines)
        attempts += 1
        back.wait()
        return 503, {}

    duration_s = SETTLE_S + plan.hung_s + plan.after_s
    broker.start()
    try:
        async with AsyncExitStack() as stack:
            server = stack.enter_context(line_server())
            stack.callback(back.set)
            server.answer = hangs
            (folder / "server.toml").write_text(f'url = "{server.url}"\nevery_s = 0\n')
            benches = {}
            for name in (ALONE, HUNG):
                (folder / f"{name}.toml").write_text(BENCH_FILE.format(id=name, host=broker.host, port=broker.port))
                words = ("--bench", name, "--frame-period", f"{FRAME_S:g}")
                benches[name] = await stack.enter_async_context(
                    simulated_bench(folder / name, *words, broker=broker.address, duration_s=duration_s, speed=1.0)
                )
            daemons = []
            for name in (ALONE, HUNG):
                options = ["--bench", str(folder / f"{name}.toml"), "--no-http"]
                options += ["--server", str(folder / "server.toml")] if name == HUNG else []
                daemons.append(await stack.enter_async_context(daemon_process(folder / f"{name}-data", *options)))
            for daemon in daemons:
                await daemon.stores_more(0)
            say("both benches record; the server of one takes requests and does not answer")
            await asyncio.sleep(SETTLE_S)
            with Acknowledged(broker) as heard:
                await asyncio.sleep(plan.hung_s)
                back.set()
                say("the server answers again")
                for bench in benches.values():
                    assert await bench.process.wait() == 0, bench.words()
            accounts = {name: account(benches[name], folder / f"{name}-data", name) for name in benches}
            wanted = accounts[HUNG].stored
            await until(lambda: len(server.rows) >= wanted, "all rows at the server", CAUGHT_UP_S)
    finally:
        broker.kill()
    rows = sum(stream.startswith("emberline_sample,") for stream, _ in server.rows)
    return Found(
        alone_s=heard.lags_s[ALONE],
        hung_s=heard.lags_s[HUNG],
        attempts=attempts,
        lost=sum(one.lost for one in accounts.values()),
        unaccounted=sum(one.unaccounted for one in accounts.values()),
        doubled=sum(one.doubled for one in accounts.values()),
        missing=max(0, wanted - rows),
        more=max(0, rows - wanted),
    )
