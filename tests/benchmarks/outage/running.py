"""Three benches through one long outage and several short ones."""

import asyncio
import time
from collections.abc import Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from pathlib import Path

from broker_fixture import Broker
from conservation import account
from daemon_fixture import DaemonProcess, daemon_process
from live_fixture import SimulatedBench, simulated_bench, until

BEFORE_S, AFTER_S = 30.0, 60.0
"""Time of the bench before the long outage, and after it until the short ones begin."""
SHORT_S, BETWEEN_S = 3.0, 8.0
"""Real seconds of a short outage, and between two."""
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


@dataclass(frozen=True)
class Plan:
    """How long and how fast.

    Attributes:
        outage_s: Length of the long outage, time of the bench.
        speed: Pace of the bench.
        returns: Number of short outages.
    """

    outage_s: float
    speed: float
    returns: int

    @property
    def ring_s(self) -> float:
        """What a device has to keep: half as much again, and real seconds for the way back at a hurried pace."""
        return 1.5 * self.outage_s + 30.0 * (self.speed - 1.0)

    @property
    def duration_s(self) -> float:
        """Length of the burn: the outages, and a minute's room for a busy machine."""
        return BEFORE_S + self.outage_s + AFTER_S + self.speed * (self.returns * (SHORT_S + BETWEEN_S) + 20.0)


@dataclass
class Found:
    """What came of it.

    Attributes:
        taken, stored, lost, unaccounted, doubled: Samples of all benches.
        broker_s: Real seconds from the broker's return to new readings on disk, for each bench and return.
        cable_s: The same for the cable.
    """

    taken: int = 0
    stored: int = 0
    lost: int = 0
    unaccounted: int = 0
    doubled: int = 0
    broker_s: list[float] = field(default_factory=list)
    cable_s: list[float] = field(default_factory=list)


async def run(folder: Path, plan: Plan, say: Callable[[str], object]) -> Found:
    """Run three benches through the outages and compare what they took with what was stored."""
    found = Found()
    broker = Broker(folder / "broker")
    broker.start()
    try:
        async with AsyncExitStack() as stack:
            speed, ring = f"{plan.speed:g}", ("--ring", f"{plan.ring_s:g}")
            benches: dict[str, SimulatedBench] = {}
            daemons: dict[str, DaemonProcess] = {}
            for name in ("one", "two"):
                (folder / f"{name}.toml").write_text(BENCH_FILE.format(id=name, host=broker.host, port=broker.port))
                benches[name] = await stack.enter_async_context(
                    simulated_bench(
                        folder / name,
                        *ring,
                        "--bench",
                        name,
                        broker=broker.address,
                        duration_s=plan.duration_s,
                        speed=plan.speed,
                    )
                )
                options = ("--bench", str(folder / f"{name}.toml"), "--speed", speed, "--no-http")
                daemons[name] = await stack.enter_async_context(daemon_process(folder / f"{name}-data", *options))
            pulls = [item for fault in _pulls(plan) for item in ("--fault", fault)]
            cable = await stack.enter_async_context(
                simulated_bench(folder / "cable", *ring, *pulls, duration_s=plan.duration_s, speed=plan.speed)
            )
            options = ("--port", str(cable.port), "--speed", speed, "--no-http")
            on_cable = await stack.enter_async_context(daemon_process(folder / "cable-data", *options))
            async with asyncio.TaskGroup() as group:
                group.create_task(_time_cable(cable, on_cable, plan.returns + 1, found))
                group.create_task(_take_broker_away(broker, list(daemons.values()), plan, found, say))
                for bench in (*benches.values(), cable):
                    group.create_task(_ended(bench))
            say("all benches have ended and are stored")
        for bench, data, bench_id in (
            *((benches[name], folder / f"{name}-data", name) for name in benches),
            (cable, folder / "cable-data", "bench"),
        ):
            one = account(bench, data, bench_id)
            say(f"{bench_id}: {one}")
            found.taken += one.taken
            found.stored += one.stored
            found.lost += one.lost
            found.unaccounted += one.unaccounted
            found.doubled += one.doubled
    finally:
        broker.kill()
    return found


def _pulls(plan: Plan) -> list[str]:
    """Return the same outages for the cable, as the simulator takes them."""
    start_s = BEFORE_S + plan.outage_s + AFTER_S
    each_s = plan.speed * (SHORT_S + BETWEEN_S)
    short = [f"unplug@{start_s + each_s * number:g}:{plan.speed * SHORT_S:g}" for number in range(plan.returns)]
    return [f"unplug@{BEFORE_S:g}:{plan.outage_s:g}", *short]


async def _ended(bench: SimulatedBench) -> None:
    assert await bench.process.wait() == 0, bench.words()


async def _take_broker_away(
    broker: Broker, daemons: list[DaemonProcess], plan: Plan, found: Found, say: Callable[[str], object]
) -> None:
    for daemon in daemons:
        await daemon.stores_more(200)
    say("both benches behind the broker record; it goes")
    await _away(broker, daemons, plan.outage_s / plan.speed, found)
    say(f"it is back: new readings after {max(found.broker_s):.2f} s")
    await asyncio.sleep(AFTER_S / plan.speed)
    for number in range(plan.returns):
        await _away(broker, daemons, SHORT_S, found)
        say(f"short outage {number + 1} of {plan.returns}: {', '.join(f'{s:.2f} s' for s in found.broker_s[-2:])}")
        await asyncio.sleep(BETWEEN_S)


async def _away(broker: Broker, daemons: list[DaemonProcess], seconds: float, found: Found) -> None:
    broker.kill()
    await asyncio.sleep(seconds)
    stored = [await daemon.stored() for daemon in daemons]
    await asyncio.to_thread(broker.start)
    back_s = time.monotonic()

    async def timed(daemon: DaemonProcess, before: int) -> None:
        await daemon.stores_more(before)
        found.broker_s.append(time.monotonic() - back_s)

    async with asyncio.TaskGroup() as group:
        for daemon, before in zip(daemons, stored, strict=True):
            group.create_task(timed(daemon, before))


async def _time_cable(bench: SimulatedBench, daemon: DaemonProcess, times: int, found: Found) -> None:
    """Time each return of a bench's cable, from the port's appearance to new readings on disk."""
    for _ in range(times):
        await until(lambda: not bench.port.exists(), "the pull", 7200.0)
        await until(lambda: bench.port.exists(), "the cable's return", 7200.0)
        back_s, before = time.monotonic(), await daemon.stored()
        await daemon.stores_more(before)
        found.cable_s.append(time.monotonic() - back_s)
